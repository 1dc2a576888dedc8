"""The rows of a sheet that are about strengths: one for each declaration, both sides in it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from plica.kinds.readings import Reading, kind_of
from plica.quantities import in_unit, number, quantity
from plica.rig.entry_text import combination_text, quantity_text, reading_text, span_text
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Driver, Sample, Strength
from plica.sheet.links import consumers
from plica.sheet.motion_data import StrengthTravels
from plica.sheet.photos import PhotoAlbum, Said
from plica.sheet.plots import PlotFrame, PlotLine, frame_around, path, response
from plica.sheet.record import RowData, TravelData, WrittenSpan
from plica.sheet.spec_lines import LinePlace, SpecLines
from plica.values import Hermite, Linear

TITLES = {"driver": "Drivers", "sample": "Samples of fields", "combine": "Combinations"}
"""The kinds of strengths, in the order of the page."""
_SIDES = ("left", "right", "none")
_NEAR = 52.0
"""Words on an axis that stand nearer than this would run into each other."""


class AxisMark(NamedTuple):
    """A value on an axis of a plot: where, what is written there, and whether a line lower, as the last is near."""

    at: float
    text: str
    lower: bool


class SideView(NamedTuple):
    """One side of a row: its short mark (L, R, or nothing), what is read or combined, its span, curve and consumers."""

    name: str
    side: str
    mark: str
    strength: int
    reads: str
    span: str
    line: str
    drives: tuple[tuple[str, str, str], ...]
    slider: bool


class RowView(NamedTuple):
    """A row: its id, its name, its sides, the plot's frame and marks, what is said of it, and its line in the spec."""

    id: str
    kind: str
    title: str
    sides: tuple[SideView, ...]
    frame: PlotFrame | None
    unit: str
    across: tuple[AxisMark, ...]
    about: str
    said: Said
    place: LinePlace | None
    alike: bool


class StrengthRows(NamedTuple):
    """Rows for the page's text, by kind, and for its script."""

    views: Mapping[str, tuple[RowView, ...]]
    data: tuple[RowData, ...]


def strength_rows(
    rig: Rig, readings: Mapping[Reading, int], lines: SpecLines, blocks: Mapping[str, str], album: PhotoAlbum
) -> StrengthRows:
    """All rows. `readings`: the number of each reading's value in the page's module; `blocks`: rows by entry."""
    numbers = {strength.name: place for place, strength in enumerate(rig.strengths)}
    maker = _Maker(rig, numbers, readings, lines, blocks, album)
    views: dict[str, list[RowView]] = {kind: [] for kind in TITLES}
    data: list[RowData] = []
    for (kind, _), members in grouped(rig.strengths).items():
        view, rows = maker.row(kind, members)
        views[kind].append(view)
        data += rows
    return StrengthRows({kind: tuple(rows) for kind, rows in views.items()}, tuple(data))


def grouped(strengths: Iterable[Strength]) -> dict[tuple[str, str], list[Strength]]:
    """Both sides of each declaration together, left first, in the order of the names."""
    result: dict[tuple[str, str], list[Strength]] = {}
    for strength in strengths:
        result.setdefault((strength.kind, strength.declared), []).append(strength)
    for members in result.values():
        members.sort(key=lambda one: _SIDES.index(one.side))
    return dict(sorted(result.items()))


class _Maker:
    def __init__(
        self,
        rig: Rig,
        numbers: Mapping[str, int],
        readings: Mapping[Reading, int],
        lines: SpecLines,
        blocks: Mapping[str, str],
        album: PhotoAlbum,
    ) -> None:
        self._numbers, self._readings, self._lines, self._blocks = numbers, readings, lines, blocks
        self._album = album
        self._travels = StrengthTravels(rig)
        self._consumers = consumers(rig)

    def row(self, kind: str, members: Sequence[Strength]) -> tuple[RowView, list[RowData]]:
        curves = {one.name: response(one, self._travels.range_of(one)) for one in members if isinstance(one, Driver)}
        frame = frame_around(list(curves.values())) if curves else None
        data = [self._data(one, curves.get(one.name), frame) for one in members]
        sides = tuple(
            self._side(one, curves.get(one.name), frame, row.travel) for one, row in zip(members, data, strict=True)
        )
        first = members[0]
        unit = kind_of(first.reading).unit if isinstance(first, Driver) else ""
        alike = len({(side.span, side.line) for side in sides}) == 1
        view = RowView(
            self._blocks[first.name],
            kind,
            first.declared,
            sides,
            frame,
            unit,
            _marks(members, frame, unit),
            _sentence(first),
            self._album.said(one.about for one in members),
            self._lines.place(kind, first.name) or self._lines.place("field", getattr(first, "field", "")),
            alike,
        )
        return view, data

    def _data(self, one: Strength, curve: PlotLine | None, frame: PlotFrame | None) -> RowData:
        reading, unit, factor, span, travel = -1, "", 1.0, None, None
        ends, shares = (0.0, 1.0), tuple[float, ...]()
        if isinstance(one, Driver) and curve is not None and frame is not None:
            reading, unit, span = self._readings[one.reading], kind_of(one.reading).unit, one.span
            factor, travel = in_unit(1.0, unit), self._travels.of_driver(one)
            ends = (frame.low, frame.high)
            width = one.span[1] - one.span[0]
            shares = tuple((value - one.span[0]) / width for value in curve.readings)
        elif isinstance(one, Sample):
            travel = self._travels.of_sample(one)
            ends = (travel.values[0], travel.values[-1])
        return RowData(
            one.kind, one.name, one.declared, one.side, self._blocks[one.name], self._numbers[one.name], reading,
            unit, factor, ends, span, shares, curve.strengths if shares and curve else (), travel, _written(one),
        )  # fmt: skip

    def _side(
        self, one: Strength, curve: PlotLine | None, frame: PlotFrame | None, travel: TravelData | None
    ) -> SideView:
        return SideView(
            one.name,
            one.side,
            {"left": "L", "right": "R"}.get(one.side, ""),
            self._numbers[one.name],
            _reads(one),
            span_text(one.reading, one.span) if isinstance(one, Driver) else "",
            path(curve, frame) if curve is not None and frame is not None else "",
            tuple((each.kind, each.name, self._blocks[each.key]) for each in self._consumers[one.name]),
            travel is not None,
        )


def _written(one: Strength) -> WrittenSpan | None:
    if not isinstance(one, Driver):
        return None
    start, stop = (number(in_unit(value, kind_of(one.reading).unit)) for value in one.span)
    return WrittenSpan(start, stop, _points(one))


def _points(one: Driver) -> str | None:
    """The points of a curve, as the language writes them; "" for a curve that is not written so."""
    if not one.clamped:
        return None
    match one.curve:
        case Hermite(method="monotone", knots=knots):
            return ", ".join(f"{number(x)} {number(y)}" for x, y, _ in knots)
        case Linear():
            return "0 0, 1 1"
        case _:
            return ""


def _reads(one: Strength) -> str:
    if isinstance(one, Driver):
        return reading_text(one.reading)
    return combination_text(one.combination) if isinstance(one, Combine) else f"{one.sample} of {one.field}"


def _sentence(one: Strength) -> str:
    """What the row is about, in the words of its first side."""
    return quantity_text(one.reading) if isinstance(one, Driver) else _reads(one)


def _marks(members: Sequence[Strength], frame: PlotFrame | None, unit: str) -> tuple[AxisMark, ...]:
    """Rest and the ends of the spans, each once."""
    if frame is None:
        return ()
    ends = {0.0, *(value for one in members if isinstance(one, Driver) for value in one.span)}
    result: list[AxisMark] = []
    for value in sorted(ends):
        at = frame.x(value)
        near = bool(result) and at - result[-1].at < _NEAR
        result.append(AxisMark(at, quantity(value, unit, 4), near and not result[-1].lower))
    return tuple(result)
