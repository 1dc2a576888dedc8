"""Findings as a page shows them: with their place in the text, and beside the row and the line that they belong to.

After a mistake the page still shows the last state without one. The lines of the two texts are then matched, so that
a finding stands at the line of the old text that its own line came from.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import SequenceMatcher
from typing import NamedTuple

from plica.diagnostics import Diagnostic
from plica.diagnostics.text import render
from plica.sheet.rows import TITLES
from plica.sheet.spec_lines import SpecLines
from plica.source import Source, Span


class FindingView(NamedTuple):
    """A finding. lines: as people read it; row, line: the ids of what it belongs to on the page, "" for none."""

    severity: str
    lines: tuple[str, ...]
    row: str
    line: str


class ShownSpec(NamedTuple):
    """The texts that a page shows: where entries were declared in them, and the ids of lines and rows."""

    lines: SpecLines
    origins: Mapping[tuple[str, str], Span]
    blocks: Mapping[str, str]


def finding_views(found: Sequence[Diagnostic], shown: ShownSpec | None) -> tuple[FindingView, ...]:
    """Findings in their order. `shown`: None where the page shows no spec yet."""
    places = None if shown is None else _Places(shown)
    return tuple(
        FindingView(
            one.severity.value,
            tuple(render([one]).rstrip().split("\n")[:-2]),
            *(("", "") if places is None or one.span is None else places.of(one.span)),
        )
        for one in found
    )


class _Places:
    def __init__(self, shown: ShownSpec) -> None:
        self._shown = shown
        self._matched: dict[str, Mapping[int, int]] = {}

    def of(self, span: Span) -> tuple[str, str]:
        """The ids of the row and of the line that a place belongs to."""
        source = self._shown.lines.source(span.source.path)
        if source is None:
            return "", ""
        line = self._line(span, source)
        return self._row(source, line), self._shown.lines.line_id(source.path, line)

    def _line(self, span: Span, source: Source) -> int:
        """The line of the text that is shown which a place in the text as it is now comes from."""
        line, _ = span.source.line_and_column(span.start)
        if span.source.text == source.text:
            return line
        if source.path not in self._matched:
            self._matched[source.path] = _matched_lines(span.source.text, source.text)
        return self._matched[source.path].get(line, 1)

    def _row(self, source: Source, line: int) -> str:
        """The row of the shortest declaration around a line that has one."""
        around = []
        for (kind, name), span in self._shown.origins.items():
            if span.source.path != source.path or not (row := self._row_of(kind, name)):
                continue
            first, _ = source.line_and_column(span.start)
            last, _ = source.line_and_column(max(span.start, span.end - 1))
            if first <= line <= last:
                around.append((last - first, row))
        return min(around, default=(0, ""))[1]

    def _row_of(self, kind: str, name: str) -> str:
        if kind == "expect":
            return f"expect-{name}"
        return self._shown.blocks.get(name if kind in TITLES else f"{kind} {name}", "")


def _matched_lines(now: str, before: str) -> Mapping[int, int]:
    """The line of one text that each line of another stands for, both from 1."""
    result: dict[int, int] = {}
    for _, start, stop, first, last in SequenceMatcher(
        None, now.split("\n"), before.split("\n"), autojunk=False
    ).get_opcodes():
        for line in range(start, stop):
            result[line + 1] = min(first + line - start, max(first, last - 1)) + 1
    return result
