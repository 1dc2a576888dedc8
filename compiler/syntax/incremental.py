"""Parsing the versions of a text that is being written: only declarations that changed are parsed again.

The text is cut into declarations as after a mistake (`recovery.py`). One whose text was parsed before is not parsed
again; its nodes are moved to where it stands now. The result is that of `plica.syntax.parser.parse`.
"""

from __future__ import annotations

import re
from typing import Any, TypeVar, cast

from plica.diagnostics import Diagnostics
from plica.source import Source
from plica.syntax import automaton, errors, nodes, recovery
from plica.syntax.keywords import words
from plica.syntax.parser import DEEPEST, check_version, is_too_long, parse
from plica.syntax.piece_by_piece import Recovery

_WORD = re.compile(r"\w+")
Node = TypeVar("Node")
Piece = nodes.Declaration | nodes.EachHead
_Known = dict[tuple[str, bool], Piece]


def shifted(node: Node, by: int) -> Node:
    """The same tree with all places moved by so many characters."""
    return cast(Node, _shifted(node, by)) if by else node


def _shifted(node: Any, by: int) -> Any:
    if type(node) is tuple:
        return tuple([_shifted(item, by) if isinstance(item, tuple) else item for item in node])
    *values, start, end = node
    moved = [_shifted(value, by) if isinstance(value, tuple) else value for value in values]
    return node.__class__(*moved, start + by, end + by)


class IncrementalParser:
    """Parses one version of a text after the other; keeps the declarations of the latest."""

    def __init__(self) -> None:
        self._known: _Known = {}

    def parse(self, source: Source, diagnostics: Diagnostics) -> nodes.Document:
        """The document, as `plica.syntax.parser.parse` gives it, and the same diagnostics."""
        if is_too_long(source, diagnostics):
            return nodes.Document(source, (), ())
        mistakes = Diagnostics()
        after = check_version(source, mistakes)
        bare = recovery.blanked(source.text)
        if after is None or recovery.deepest(bare)[0] > DEEPEST:
            return parse(source, diagnostics)
        run = _Pieces(source, bare, mistakes, self._known)
        declarations = run.parse(after)
        if mistakes.has_errors and not run.whole_fails and automaton.read(source.text) is not None:
            return parse(source, diagnostics)  # two declarations on a line, say, which only the whole can tell apart
        diagnostics.extend(mistakes.all)
        self._known = run.seen
        return run.document(declarations)


class _Pieces(Recovery):
    """Reads a file declaration by declaration and looks each up among those that are known.

    `seen` are the declarations of this version.
    """

    def __init__(self, source: Source, bare: str, diagnostics: Diagnostics, known: _Known) -> None:
        super().__init__(source, bare, diagnostics)
        self._text = source.text
        self._known = known
        self.seen: _Known = {}

    def parse_piece(self, piece: recovery.TextPiece) -> Piece | None:
        key = (self._text[piece.start : piece.end], piece.is_head)
        node = self.seen.get(key) or self._known.get(key)
        if node is not None:
            node = shifted(node, piece.start - node.start)
        else:
            errors_before = self._diagnostics.count_of_errors
            node = super().parse_piece(piece)
            if self._diagnostics.count_of_errors > errors_before:
                return node  # which has to be told in the next version, too
        if node is not None:
            self.seen[key] = node
        return node

    @property
    def whole_fails(self) -> bool:
        """Whether the first mistake is sure to be one of the whole text: the declaration cannot have ended there."""
        if self.first_failure is None:
            return False
        piece, error = self.first_failure
        offset = errors.offset_of(error, piece.end)
        if offset >= piece.end:
            return False
        expected = errors.expected_terminals(error)  # empty after a whole declaration
        if expected and "$END" not in expected:
            return True
        # After a whole declaration the whole text may go on, but only with another one or the end of an `each`.
        word = _WORD.match(self._text, offset)
        return word is not None and word[0] not in words().declarations
