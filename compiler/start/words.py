"""Names taken apart into words, and made into names of the language."""

from __future__ import annotations

import re

_WORD = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[^\W\d_A-Za-z]+|\d+")
_NOT_IN_NAMES = re.compile(r"\W+")
_REPEATED = re.compile(r"__+")
RESERVED = frozenset(("both", "left", "right"))  # would be read as a side


def words_of(name: str) -> tuple[str, ...]:
    """The words of a joint's name in lower case: cut at separators, digits and capital letters."""
    return tuple(word.lower() for word in _WORD.findall(name))


def plain_name(text: str, fallback: str) -> str:
    """A name of the language made from any text."""
    name = _REPEATED.sub("_", _NOT_IN_NAMES.sub("_", text)).strip("_")
    if not name:
        return fallback
    return f"{fallback}_{name}" if name[0].isdigit() or name in RESERVED or not name.isidentifier() else name


def unique_name(wanted: str, taken: set[str]) -> str:
    """The name, with a number after it where it is taken; the result is added to `taken`."""
    name, number = wanted, 2
    while name in taken:
        name, number = f"{wanted}_{number}", number + 1
    taken.add(name)
    return name


def writable(name: str) -> bool:
    """Whether a text of the language can hold the name: braces stand for placeholders there."""
    return name.isprintable() and "{" not in name
