"""Diagnostics for people: the place, the message, the line with the place underlined, the hint, as in

    wren.plica:4:11: error PL101 unexpected-text: `rotaton` cannot stand here; expected ...
      4 |     reads rotaton about x of lowerarm
        |           ^^^^^^^
        hint: did you mean `rotation`?

A line that is too long is cut around the place.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Sequence

from plica import foreign
from plica.diagnostics.place import counted, extent
from plica.diagnostics.record import Diagnostic, Severity
from plica.named_tuples import NamedTuple
from plica.source import Source, Span

TAB = 4
MOST_COLUMNS = 100  # of a source line; longer ones are cut around the place
LEAD = 30  # columns kept before the place in a line that is cut
CUT = "…"

_RESET = "\x1b[0m"
_BOLD = "\x1b[1m"
_FAINT = "\x1b[2m"
_COLOURS = {Severity.ERROR: "\x1b[31m", Severity.WARNING: "\x1b[33m", Severity.NOTE: "\x1b[36m"}


def render(diagnostics: Sequence[Diagnostic], *, colour: bool = False) -> str:
    """All diagnostics and a closing line that counts them; an empty text for none."""
    if not diagnostics:
        return ""
    paint = _Paint(colour)
    blocks = ["\n".join(_lines(diagnostic, paint)) for diagnostic in diagnostics]
    return "\n\n".join([*blocks, summary(diagnostics)]) + "\n"


def summary(diagnostics: Iterable[Diagnostic]) -> str:
    """How many of each severity: `2 errors, 1 warning`."""
    severities = [diagnostic.severity for diagnostic in diagnostics]
    counts = [(severities.count(severity), severity.value) for severity in Severity]
    return ", ".join(counted(number, noun) for number, noun in counts if number) or "nothing found"


class _Paint:
    """Wraps texts in colour, or leaves them alone."""

    def __init__(self, colour: bool) -> None:
        self._colour = colour

    def __call__(self, text: str, *codes: str) -> str:
        return f"{''.join(codes)}{text}{_RESET}" if self._colour and text else text


def _lines(diagnostic: Diagnostic, paint: _Paint) -> Iterator[str]:
    colour = _COLOURS[diagnostic.severity]
    place = foreign.line(diagnostic.span.place) + ": " if diagnostic.span else ""
    kind = paint(f"{diagnostic.severity} {diagnostic.code} {diagnostic.name}", _BOLD, colour)
    yield f"{paint(place, _BOLD)}{kind}: {foreign.line(diagnostic.message)}"
    marks = list(_marks(diagnostic))
    gutter = max((len(str(mark.line)) for mark in marks), default=0) + 2
    yield from _excerpt(marks, gutter, diagnostic, paint)
    if diagnostic.hint:
        yield f"{' ' * gutter}  {paint('hint:', _BOLD)} {foreign.line(diagnostic.hint)}"


class _Mark(NamedTuple):
    """A stretch of one line to underline: columns from 0, `end` one past."""

    source: Source
    line: int
    start: int
    end: int
    sign: str
    text: str

    @property
    def order(self) -> tuple[int, int]:
        return self.line, self.start


def _marks(diagnostic: Diagnostic) -> Iterator[_Mark]:
    if diagnostic.span and diagnostic.span.source.text:
        yield from _span_marks(diagnostic.span, "^", "")
    for label in diagnostic.labels:
        yield from _span_marks(label.span, "-", foreign.line(label.text))


def _span_marks(span: Span, sign: str, text: str) -> Iterator[_Mark]:
    """The underlining of a span; of one over several lines, of its first and its last."""
    place, source = extent(span), span.source
    if place.line == place.end_line:
        yield _Mark(source, place.line, place.column - 1, place.end_column - 1, sign, text)
        return
    first = len(source.line_text(place.line))
    yield _Mark(source, place.line, place.column - 1, first, sign, "from here")
    last = source.line_text(place.end_line)
    begin = min(len(last) - len(last.lstrip()), place.end_column - 1)
    yield _Mark(source, place.end_line, begin, place.end_column - 1, sign, text or "to here")


def _excerpt(marks: list[_Mark], gutter: int, diagnostic: Diagnostic, paint: _Paint) -> Iterator[str]:
    """The lines concerned, file by file, each followed by its underlinings."""
    first = diagnostic.span.source if diagnostic.span else None
    sources = dict.fromkeys(mark.source for mark in marks)
    for source in sources:
        if source is not first:
            yield f"{' ' * gutter}  in {foreign.line(source.path)}"
        shown = 0
        for mark in sorted((mark for mark in marks if mark.source is source), key=lambda mark: mark.order):
            text, start, width = _fitted(source.line_text(mark.line), mark.start, mark.end)
            if mark.line != shown:
                if 0 < shown < mark.line - 1:
                    yield paint(f"{'..':>{gutter}}", _FAINT)
                number = paint(f"{mark.line:>{gutter}} |", _FAINT)
                yield f"{number} {text}".rstrip()
                shown = mark.line
            colour = _COLOURS[diagnostic.severity] if mark.sign == "^" else _BOLD
            under = paint(mark.sign * width, colour)
            bar = paint(f"{'':>{gutter}} |", _FAINT)
            yield f"{bar} {' ' * start}{under} {mark.text}".rstrip()


def _width(cell: str) -> int:
    """Columns that a cell takes: wide East Asian characters two, combining marks none (Unicode UAX 11).

    A cell is what is shown for one character, itself or an escape.
    """
    if len(cell) > 1:
        return len(cell)
    if unicodedata.combining(cell) or unicodedata.category(cell) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(cell) in "WF" else 1


def _fitted(line: str, start: int, end: int) -> tuple[str, int, int]:
    """A line as shown, the column of its underlining and that one's width (at least 1).

    A line that is too long is cut to the neighbourhood of `start`.
    """
    first, last, before, after = 0, len(line), "", ""
    if len(line) > MOST_COLUMNS:
        first = max(0, min(start - LEAD, len(line) - MOST_COLUMNS))
        last = first + MOST_COLUMNS
        before, after = CUT * (first > 0), CUT * (last < len(line))
    part = line[first:last]
    cells = [
        " " * TAB if character == "\t" else cell for character, cell in zip(part, foreign.cells(part), strict=True)
    ]
    widths = [_width(cell) for cell in cells]
    start, end = start - first, min(end, last) - first
    column = len(before) + sum(widths[:start])
    return before + "".join(cells) + after, column, max(1, sum(widths[start:end]))
