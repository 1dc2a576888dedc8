"""What each name of a text means, as kinds of tokens that editors colour: a joint called `span` is no keyword."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from plica.editor.open_documents import Analysis
from plica.editor.variables import variable_places
from plica.spec.symbols import NAMESPACES
from plica.syntax import nodes

# Standard kinds of tokens of the Language Server Protocol 3.17, by what a name means.
KINDS = {
    "strength": "function",
    "control": "property",
    "region": "type",
    "shape": "class",
    "detail": "struct",
    "fold": "interface",
    "pose": "event",
    "curve": "enum",
    "joint": "variable",
    "parameter": "parameter",
    "each": "typeParameter",
}
TYPES = tuple(KINDS.values())
DECLARATION = 1  # the only modifier, as a bit


class Meaning(NamedTuple):
    """A name of the text and what it means (a key of `KINDS`); `modifiers` has the bit `DECLARATION` or none."""

    start: int
    end: int
    meaning: str
    modifiers: int = 0


def meanings(around: Analysis, own: nodes.Document, start: int, end: int) -> list[Meaning]:
    """The names between two offsets, in order, none over another; `around` knows what they mean."""
    found = sorted(
        {item.start: item for item in _found(around, own, start, end) if item.start < item.end}.values(),
        key=lambda item: item.start,
    )
    result: list[Meaning] = []
    for item in found:
        if not result or item.start >= result[-1].end:
            result.append(item)
    return result


def _found(around: Analysis, own: nodes.Document, start: int, end: int) -> Iterator[Meaning]:
    """Later ones count where several begin at one place."""
    path = own.source.path
    for declaration in own.declarations:
        if declaration.start <= end and declaration.end >= start:
            yield from _joints(declaration, own.source.text, start, end)
    for use in around.symbols.uses:
        if use.span.source.path == path and use.span.start <= end and use.span.end >= start:
            yield Meaning(use.span.start, use.span.end, use.namespace)
    for symbol in around.symbols.declared:
        if symbol.span.source.path == path and symbol.span.start <= end and symbol.span.end >= start:
            yield Meaning(symbol.span.start, symbol.span.end, NAMESPACES[symbol.kind], DECLARATION)
    for variable in variable_places(own):
        if variable.start <= end and variable.end >= start:
            name = variable.node.name if isinstance(variable.node, nodes.Parameter) else variable.node.head.name
            meaning = "parameter" if isinstance(variable.node, nodes.Parameter) else "each"
            yield Meaning(variable.start, variable.end, meaning, DECLARATION if name.start == variable.start else 0)


def _joints(declaration: nodes.Declaration, text: str, start: int, end: int) -> Iterator[Meaning]:
    """The names of joints in a declaration, in any order; whatever holds something in the tree is a tuple."""
    waiting: list[tuple[Any, ...]] = [declaration]
    while waiting:
        node = waiting.pop()
        if not isinstance(node, nodes.JointName):
            waiting += [part for part in node if isinstance(part, tuple)]
        elif node.start <= end and node.end >= start:
            # A side is written before the name of a joint that is one of a pair.
            written = text[node.start : node.end]
            after_side = written.removeprefix(node.side).lstrip() if node.side else written
            yield Meaning(node.end - len(after_side), node.end, "joint")
