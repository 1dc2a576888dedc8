"""The texts of a spec as numbered lines of the page, and where in them an entry stands."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from plica.source import Source, Span


class LinePlace(NamedTuple):
    """A line: as people write it, and the id of its element on the page."""

    text: str
    id: str


class SpecText(NamedTuple):
    """One file: its name, and its lines with their ids."""

    file: str
    lines: tuple[tuple[str, str], ...]


class TriedLine(NamedTuple):
    """A line of the spec in which one quantity can be tried out: what stands before it, its unit, what stands after."""

    before: str
    unit: str
    after: str


_QUANTITY = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?\s*(?P<unit>deg|rad|turn|mm|cm|m|in|%|MiB|KiB)?(?![\w.])")


class SpecLines:
    """The files that a spec is made of, in the order of their names, the spec itself first."""

    def __init__(self, origins: Mapping[tuple[str, str], Span]) -> None:
        self._origins = origins
        self._sources: dict[str, Source] = {}
        main = next((span.source.path for (kind, _), span in origins.items() if kind == "character"), "")
        for path, source in sorted(
            {span.source.path: span.source for span in origins.values()}.items(),
            key=lambda one: (one[0] != main, one[0]),
        ):
            self._sources[path] = source
        self._numbers = {path: number for number, path in enumerate(self._sources)}

    @property
    def texts(self) -> tuple[SpecText, ...]:
        """All files."""
        return tuple(
            SpecText(path, tuple((self.line_id(path, number), line) for number, line in _lines(source)))
            for path, source in self._sources.items()
        )

    def place(self, kind: str, name: str) -> LinePlace | None:
        """Where an entry was declared; None for one that nobody wrote, and for a rig that was read."""
        span = self._origins.get((kind, name))
        return None if span is None else self.at(span)

    def at(self, span: Span) -> LinePlace | None:
        """A place in one of the texts; None for one in another text."""
        if self._sources.get(span.source.path) is None or self._sources[span.source.path].text != span.source.text:
            return None
        line, _ = span.source.line_and_column(span.start)
        file = span.source.path.rsplit("/", 1)[-1]
        return LinePlace(f"{file}:{line}", self.line_id(span.source.path, line))

    def source(self, path: str) -> Source | None:
        """The text of a file; None for one that holds nothing of the spec."""
        return self._sources.get(path)

    def line_id(self, path: str, line: int) -> str:
        """The id of a line's element, line from 1. Raises KeyError for a file that `source` does not have."""
        return f"line-{self._numbers[path]}-{line}"

    def tried(self, kind: str, name: str, unit: str) -> TriedLine | None:
        """The line of an entry around its only quantity; None where it has none or several, or the unit is another."""
        span = self._origins.get((kind, name))
        if span is None:
            return None
        text = " ".join(span.source.text[span.start : span.end].split())
        found = list(_QUANTITY.finditer(text))
        if len(found) != 1 or (found[0]["unit"] or "") != unit:
            return None
        return TriedLine(text[: found[0].start()], unit, text[found[0].end() :])


def _lines(source: Source) -> Iterable[tuple[int, str]]:
    return ((number, source.line_text(number)) for number in range(1, len(source.line_starts) + 1))
