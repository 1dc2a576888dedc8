"""MaterialX documents as plain data, and their text. Needs no library: the same document has the same bytes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

from plica import foreign
from plica.emit.output_file_names import safe_file_name

VERSION: Final = "1.39"
BUILD_WORDS: Final = "Plica build"
_INDENT: Final = "  "


class Element(NamedTuple):
    """An element of the document: its category, its attributes in the order of writing, and what it holds."""

    category: str
    attributes: tuple[tuple[str, str], ...]
    children: tuple[Element, ...] = ()


def element(category: str, name: str, kind: str, *children: Element, **attributes: str) -> Element:
    """An element with a name, and with a type where `kind` is not empty."""
    first = (("name", name), *((("type", kind),) if kind else ()))
    return Element(category, (*first, *attributes.items()), children)


def document_bytes(children: Iterable[Element], build: str | None = None) -> bytes:
    """The whole document in UTF-8; the id of its build stands in the root's `doc`, which MaterialX has for texts."""
    said = () if build is None else (("doc", f"{BUILD_WORDS} {build}"),)
    root = Element("materialx", (("version", VERSION), *said), tuple(children))
    lines = ['<?xml version="1.0"?>', *_lines(root, 0)]
    return ("\n".join(lines) + "\n").encode("utf-8")


def _lines(item: Element, depth: int) -> list[str]:
    attributes = "".join(f" {name}={foreign.xml_attribute(value)}" for name, value in item.attributes)
    start = f"{_INDENT * depth}<{item.category}{attributes}"
    if not item.children:
        return [f"{start} />"]
    inside = [line for child in item.children for line in _lines(child, depth + 1)]
    return [f"{start}>", *inside, f"{_INDENT * depth}</{item.category}>"]


class Names:
    """Names for the elements of one scope, each given once.

    MaterialX takes ASCII letters, digits and `_` (its specification, section "MaterialX Names").
    """

    def __init__(self) -> None:
        self._taken: set[str] = set()

    def new(self, wanted: str) -> str:
        """The name wanted if it is free and can be written, else one like it."""
        base = safe_file_name(wanted)
        name, number = base, 2
        while name in self._taken:
            name, number = f"{base}_{number}", number + 1
        self._taken.add(name)
        return name
