"""The statements of a text: declarations, and what stands in their blocks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from plica.format.words import Words
from plica.syntax import nodes


class Statement(NamedTuple):
    """A declaration, a fact, a joint of a skeleton or an argument, by the indexes of its tokens.

    `end` is one past its last token. `opening` is the index of its `{`, None where it has no block.
    """

    first: int
    end: int
    opening: int | None
    parts: tuple[Statement, ...]


def statements_of(document: nodes.Document, words: Words) -> tuple[Statement, ...]:
    """The declarations of a document that has no mistakes."""
    return _statements(document.declarations, len(words), words)


def _statements(found: Sequence[nodes.Placed], end: int, words: Words) -> tuple[Statement, ...]:
    """Statements in a row; each ends where the next one begins, the last at `end`."""
    if not found:
        return ()
    firsts = [words.index_of[node.start] for node in found]
    ends = [*firsts[1:], end]
    return tuple([_statement(node, first, end, words) for node, first, end in zip(found, firsts, ends, strict=True)])


def _statement(node: nodes.Placed, first: int, end: int, words: Words) -> Statement:
    if words.kinds[end - 1] != "RBRACE":
        return Statement(first, end, None, ())
    parts = _statements(_parts(node), end - 1, words)
    return Statement(first, end, (parts[0].first if parts else end - 1) - 1, parts)


def _parts(node: nodes.Placed) -> Sequence[nodes.Placed]:
    """What stands in a node's block."""
    match node:
        case nodes.Override():
            return _parts(node.target)
        case nodes.Each():
            return node.declarations
        case nodes.Use():
            return node.arguments
        case nodes.Fact(key="skeleton"):
            joints: tuple[nodes.SkeletonJoint, ...] = node.values
            return joints
        case nodes.Block() | nodes.CombineDeclaration() | nodes.Parameter():
            return node.facts
    return ()
