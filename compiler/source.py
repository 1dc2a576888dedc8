"""Source texts and places in them."""

from __future__ import annotations

from bisect import bisect_right
from functools import cached_property

from plica.named_tuples import NamedTuple


class Source:
    """One text and the path that names it in messages.

    `path` is what the user would recognise (relative to where the command ran, with forward slashes);
    it is never used to read anything.
    """

    def __init__(self, path: str, text: str) -> None:
        self.path = path
        self.text = text

    @cached_property
    def withheld(self) -> Source:
        """The same file without its text, for a place in a file of which nothing is to be shown."""
        return Source(self.path, "")

    @cached_property
    def line_starts(self) -> list[int]:
        """Offsets of the first character of each line; lines end at LF, as in SARIF's own examples CR LF too."""
        starts = [0]
        position = self.text.find("\n")
        while position >= 0:
            starts.append(position + 1)
            position = self.text.find("\n", position + 1)
        return starts

    def line_and_column(self, offset: int) -> tuple[int, int]:
        """Line and column, both from 1, in code points, of an offset; offsets past the end mean the end."""
        offset = max(0, min(offset, len(self.text)))
        line = bisect_right(self.line_starts, offset)
        return line, offset - self.line_starts[line - 1] + 1

    def line_text(self, line: int) -> str:
        """The text of a line (from 1) without its line end."""
        start = self.line_starts[line - 1]
        end = self.line_starts[line] if line < len(self.line_starts) else len(self.text)
        return self.text[start:end].rstrip("\r\n")


class Span(NamedTuple):
    """A stretch of a source: offsets in code points, `end` one past the last."""

    source: Source
    start: int
    end: int

    @property
    def place(self) -> str:
        """`path:line:column` of the first character."""
        line, column = self.source.line_and_column(self.start)
        return f"{self.source.path}:{line}:{column}"
