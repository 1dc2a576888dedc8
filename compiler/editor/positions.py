"""Offsets in code points, and lines and UTF-16 columns as in the Language Server Protocol 3.17 ("Position")."""

from __future__ import annotations

import re
from bisect import bisect_right
from functools import cached_property
from itertools import accumulate
from typing import NamedTuple

_LINE_END = re.compile(r"\r\n|\n|\r")
_STRETCH = 4096  # characters


class Position(NamedTuple):
    """A line from 0, and a column from 0 in UTF-16 code units."""

    line: int
    column: int


class Lines:
    """The lines of one text."""

    def __init__(self, text: str) -> None:
        self.text = text
        self._starts = [0, *(match.end() for match in _LINE_END.finditer(text))]
        self._is_ascii = text.isascii()

    @cached_property
    def _units(self) -> list[int]:
        """UTF-16 code units before each stretch of the text, so that a long line is not gone through for each place."""
        stretches = (self.text[start : start + _STRETCH] for start in range(0, len(self.text), _STRETCH))
        return [0, *accumulate(utf16_length(stretch) for stretch in stretches)]

    def _before(self, offset: int) -> int:
        """UTF-16 code units before an offset."""
        stretch = offset // _STRETCH
        return self._units[stretch] + utf16_length(self.text[stretch * _STRETCH : offset])

    def position(self, offset: int) -> Position:
        """Where an offset stands; one past the end means the end."""
        offset = max(0, min(offset, len(self.text)))
        line = bisect_right(self._starts, offset) - 1
        start = self._starts[line]
        if self._is_ascii:
            return Position(line, offset - start)
        return Position(line, self._before(offset) - self._before(start))

    def offset(self, position: Position) -> int:
        """The offset of a position. A column past the line's end means its end, a line past the last the text's end."""
        line, column = position
        if line < 0:
            return 0
        if line >= len(self._starts):
            return len(self.text)
        start = self._starts[line]
        end = self._starts[line + 1] if line + 1 < len(self._starts) else len(self.text)
        content = self.text[start:end].rstrip("\r\n")
        if self._is_ascii or content.isascii():
            return start + max(0, min(column, len(content)))
        units = 0
        for index, character in enumerate(content):
            if units >= column:
                return start + index
            units += 2 if ord(character) > 0xFFFF else 1
        return start + len(content)


def utf16_length(text: str) -> int:
    """How many UTF-16 code units a text takes."""
    return len(text) if text.isascii() else len(text.encode("utf-16-le", "surrogatepass")) // 2


class TextChange(NamedTuple):
    """A stretch of the text and what replaces it; `start` None replaces the whole text."""

    start: Position | None
    end: Position | None
    text: str


def changed(text: str, changes: list[TextChange]) -> str:
    """The text after changes, each made to what the one before left."""
    for change in changes:
        if change.start is None or change.end is None:
            text = change.text
            continue
        lines = Lines(text)
        start, end = lines.offset(change.start), lines.offset(change.end)
        text = text[:start] + change.text + text[max(start, end) :]
    return text
