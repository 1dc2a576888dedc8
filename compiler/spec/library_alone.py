"""A library that is checked by itself: what only a character that uses it can tell, and what is most likely wrong."""

from __future__ import annotations

from plica.diagnostics import Diagnostics, Fix, Label
from plica.diagnostics.place import counted
from plica.source import Span
from plica.syntax import nodes

_MOST_SHOWN = 4  # of each kind in the message


class LeftToCharacters:
    """What a library names and does not bring: joints, files, morph targets and other declarations, as written."""

    def __init__(self) -> None:
        self.joints: dict[str, None] = {}
        self.files: dict[str, None] = {}
        self.names: dict[tuple[str, str, Span, str], None] = {}

    def note_name(self, namespace: str, name: str, span: Span, near: str | None) -> None:
        """Note a name that nothing in the library declares; `near`: the one declared there that it is nearly."""
        self.names[namespace, name, span, near or ""] = None


def report_left(
    document: nodes.Document, parameters: tuple[str, ...], left: LeftToCharacters, diagnostics: Diagnostics
) -> None:
    """Say what could not be verified, and warn of names that are nearly those of the library's own declarations.

    parameters: those without a default.
    """
    nearly: dict[tuple[str, str, str], list[Span]] = {}
    for namespace, name, span, near in left.names:
        if near:
            nearly.setdefault((namespace, name, near), []).append(span)
    for (namespace, name, near), spans in nearly.items():
        fix, labels = Fix(spans[0], near), [Label(span, "and here") for span in spans[1:]]
        hint = f"did you mean `{near}`?"
        diagnostics.add("not-in-library", spans[0], kind=namespace, name=name, hint=hint, labels=labels, fix=fix)
    others = dict.fromkeys(name for _, name, _, near in left.names if not near)
    parts = [
        _shown(list(names), noun)
        for names, noun in (
            (parameters, "parameter without a default"),
            (left.joints, "joint"),
            (left.files, "file"),
            (others, "name"),
        )
        if names
    ]
    if parts:
        diagnostics.add("library-alone", _first(document), left="; ".join(parts))


def _shown(names: list[str], noun: str) -> str:
    count = counted(len(names), noun)
    if noun.startswith("parameter") and len(names) > 1:
        count = f"{len(names)} parameters without a default"
    listed = ", ".join(f"`{name}`" for name in names[:_MOST_SHOWN])
    more = f" and {len(names) - _MOST_SHOWN} more" if len(names) > _MOST_SHOWN else ""
    return f"{count} ({listed}{more})"


def _first(document: nodes.Document) -> Span:
    """The place of the file's first line that says something: its version."""
    text = document.source.text
    start = text.find("plica")
    end = text.find("\n", start)
    return Span(document.source, max(start, 0), end if end > 0 else len(text))
