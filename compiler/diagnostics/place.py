"""Where a span stands, for people: lines and columns from 1, in code points."""

from __future__ import annotations

from plica.named_tuples import NamedTuple
from plica.source import Span


class Extent(NamedTuple):
    """The first character and one past the last; an empty span starts where it ends."""

    line: int
    column: int
    end_line: int
    end_column: int


def extent(span: Span) -> Extent:
    """The lines and columns of a span. A line end at the span's end does not reach into the next line."""
    text, end = span.source.text, min(span.end, len(span.source.text))
    while end > span.start and text[end - 1] in "\r\n":
        end -= 1
    line, column = span.source.line_and_column(span.start)
    end_line, end_column = span.source.line_and_column(max(end, span.start))
    return Extent(line, column, end_line, end_column)


def counted(number: int, noun: str) -> str:
    """`1 error`, `2 errors`; for nouns that take an s."""
    return f"{number} {noun}{'' if number == 1 else 's'}"
