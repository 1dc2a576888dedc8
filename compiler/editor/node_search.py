"""Finding nodes of the syntax tree by where they stand."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from plica.syntax import nodes


def path_to(declarations: tuple[nodes.Declaration, ...], offset: int) -> list[Any]:
    """The nodes around an offset, the outermost first; both ends of a node belong to it."""
    for declaration in declarations:
        if declaration.start <= offset <= declaration.end:
            return _within(declaration, offset)
    return []


def _within(node: Any, offset: int) -> list[Any]:
    for child in children(node):
        if child.start <= offset <= child.end:
            return [node, *_within(child, offset)]
    return [node]


def children(node: Any) -> Iterator[Any]:
    """The nodes right below one."""
    for value in node:
        if type(value) is tuple:
            yield from _nodes(value)
        elif isinstance(value, tuple):
            yield value


def _nodes(values: tuple[Any, ...]) -> Iterator[Any]:
    for value in values:
        if type(value) is tuple:
            yield from _nodes(value)
        elif isinstance(value, tuple):
            yield value


def blocks(declarations: tuple[nodes.Declaration, ...]) -> Iterator[nodes.Block | nodes.CombineDeclaration]:
    """The declarations with facts, those of families and overrides included."""
    for declaration in declarations:
        if isinstance(declaration, nodes.Each):
            yield from blocks(declaration.declarations)
        elif isinstance(declaration, nodes.Override):
            yield declaration.target
        elif isinstance(declaration, nodes.Block | nodes.CombineDeclaration):
            yield declaration
