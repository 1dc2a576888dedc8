"""The files of two states side by side: which lines differ, and where a line that is gone stood."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from difflib import SequenceMatcher
from functools import cached_property
from posixpath import dirname, relpath

from plica.diff.written import Piece
from plica.source import Source, Span
from plica.syntax import nodes

_LONG = 4000  # lines of a text, from which on lines that stand in it very often are not looked for one by one


class TextPair:
    """One file in both states; a file that a state does not have is None there."""

    def __init__(self, path: str, old: nodes.Document | None, new: nodes.Document | None) -> None:
        self.path, self.old, self.new = path, old, new

    @cached_property
    def _steps(self) -> list[tuple[str, int, int, int, int]]:
        """What differs, as `difflib` gives it, lines counted from 0; equal beginnings and ends are left out first."""
        old, new = (_lines(document) for document in (self.old, self.new))
        if self.old is not None and self.new is not None and self.old.source.text == self.new.source.text:
            return []
        start = 0
        while start < min(len(old), len(new)) and old[start] == new[start]:
            start += 1
        end = 0
        while end < min(len(old), len(new)) - start and old[-1 - end] == new[-1 - end]:
            end += 1
        matcher = SequenceMatcher(
            None, old[start : len(old) - end], new[start : len(new) - end], autojunk=len(old) > _LONG
        )
        return [
            (kind, before + start, until + start, after + start, to + start)
            for kind, before, until, after, to in matcher.get_opcodes()
            if kind != "equal"
        ]

    @cached_property
    def old_lines(self) -> frozenset[int]:
        """The lines (from 1) of the old text that are gone or changed."""
        return frozenset(line + 1 for _, start, stop, _, _ in self._steps for line in range(start, stop))

    @cached_property
    def new_lines(self) -> frozenset[int]:
        """The lines (from 1) of the new text that are new or changed."""
        return frozenset(line + 1 for _, _, _, start, stop in self._steps for line in range(start, stop))

    @property
    def hunks(self) -> Iterator[tuple[range, range]]:
        """Lines (from 1) that are gone, and those that stand in their place."""
        for _, start, stop, after, to in self._steps:
            yield range(start + 1, stop + 1), range(after + 1, to + 1)

    @property
    def differs(self) -> bool:
        """Whether the two texts have other lines."""
        return bool(self._steps)

    def where_it_stood(self, line: int) -> Span | None:
        """The line of the new text that stands where a line (from 1) of the old one stood."""
        if self.new is None:
            return None
        moved = line
        for _, start, stop, after, to in self._steps:
            if line - 1 < start:
                break
            if line - 1 < stop:
                moved = min(after + (line - 1 - start), max(after, to - 1)) + 1
                break
            moved = line + to - stop
        return line_span(self.new.source, moved)


def line_span(source: Source, line: int) -> Span:
    """A line (from 1) without the blanks around its text; the last one where there are not so many."""
    line = max(1, min(line, len(source.line_starts)))
    start, text = source.line_starts[line - 1], source.line_text(line)
    indent = len(text) - len(text.lstrip())
    return Span(source, start + indent, start + len(text.rstrip()) if text.strip() else start + indent)


def _lines(document: nodes.Document | None) -> list[str]:
    return [] if document is None else document.source.text.splitlines()


class TextPairs:
    """All files of two states of a character, paired by where they lie beside its spec."""

    def __init__(self, old: Sequence[nodes.Document], new: Sequence[nodes.Document]) -> None:
        before, after = (_by_place(documents) for documents in (old, new))
        self.pairs = tuple(TextPair(_path(key, before, after), before.get(key), after.get(key))
                           for key in dict.fromkeys((*after, *before)))  # fmt: skip
        self._of = {
            id(document.source): pair
            for pair in self.pairs
            for document in (pair.old, pair.new)
            if document is not None
        }

    @property
    def are_texts(self) -> bool:
        """Whether both states were made of texts: a built rig was not."""
        first = self.pairs[0] if self.pairs else None
        return first is not None and first.old is not None and first.new is not None

    def of(self, span: Span) -> TextPair | None:
        """The pair of files that a place is in."""
        return self._of.get(id(span.source))

    def changed(self, pieces: Iterable[Piece], others: Iterable[Piece], *, old: bool = False) -> Iterator[Piece]:
        """Those pieces of the new state (or of the `old` one) that stand on changed lines and say what none of the
        others says.
        """
        known = {piece.said for piece in others}
        for piece in pieces:
            if piece.said not in known and self.is_touched(piece, old=old):
                yield piece

    def is_touched(self, piece: Piece, *, old: bool = False) -> bool:
        """Whether a piece stands on lines that differ."""
        pair = self.of(piece.span)
        if pair is None:
            return False
        lines = pair.old_lines if old else pair.new_lines
        return any(line in lines for line in piece.lines)


def _by_place(documents: Sequence[nodes.Document]) -> dict[str, nodes.Document]:
    if not documents:
        return {}
    folder = dirname(documents[0].source.path)
    keyed = {relpath(one.source.path, folder or "."): one for one in documents[1:]}
    return {"": documents[0], **keyed}


def _path(key: str, before: dict[str, nodes.Document], after: dict[str, nodes.Document]) -> str:
    found = after.get(key) or before.get(key)
    assert found is not None
    return found.source.path
