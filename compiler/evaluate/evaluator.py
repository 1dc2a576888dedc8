"""From poses to strengths, for all drivers, fields and combinations of a rig at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from plica.evaluate.combinations import combined_rows
from plica.evaluate.curves import PreparedCurve, prepare
from plica.evaluate.fields import PreparedField
from plica.evaluate.pose_components import ComponentReader, NeededComponents, needs_of, skeleton_of
from plica.evaluate.poses import Array, Poses
from plica.evaluate.reading_groups import Chunk, Indexes, ReadingGroup, ReadingSources, indexes
from plica.evaluate.readings import GROUPS
from plica.kinds.readings import Reading, kind_of, seen
from plica.rig.rig import Rig
from plica.rig.strengths import Combination, Combine, Driver, Field, Sample, StrengthOf
from plica.skeleton.skeleton import Skeleton
from plica.values import Curve

# Numbers that one array of a chunk of frames may hold: few enough for several such arrays to stay in a
# core's cache.
_CHUNK_NUMBERS = 1 << 18
_FEWEST_FRAMES = 64

_Kind = TypeVar("_Kind")


class Evaluator:
    """A rig ready to be evaluated over any number of frames."""

    def __init__(self, rig: Rig) -> None:
        """Raises ValueError where the rig refers to something that it does not have, and for empty spans."""
        drivers = _of_kind(rig.strengths, Driver)
        self.names: tuple[str, ...] = tuple(strength.name for strength in rig.strengths)
        self.driver_names: tuple[str, ...] = tuple(driver.name for driver in drivers)
        readings = tuple(dict.fromkeys(driver.reading for driver in drivers))
        skeleton = skeleton_of(rig)
        needs = needs_of(rig, skeleton, readings)
        self._gatherer = ComponentReader(rig, skeleton, needs)
        rows = {name: row for row, name in enumerate(self.names)}
        try:
            self._groups, sorted_readings = _reading_groups(readings, skeleton, needs, self._gatherer)
            result = {reading: row for row, reading in enumerate(sorted_readings)}
            self._driver_readings = _whole(result[driver.reading] for driver in drivers)
            self._curves = _curve_rows(drivers, rows, result)
            self._fields = _field_rows(rig, rows, needs)
            self._combines = [_combine_row(combine, rows) for combine in _of_kind(rig.strengths, Combine)]
        except KeyError as missing:
            raise ValueError(f"the rig has no {missing.args[0]}, which it refers to") from missing
        widest = max(len(self.names), 4 * len(needs.turned), 1)
        self._chunk_frames = max(_FEWEST_FRAMES, _CHUNK_NUMBERS // widest)

    def strengths(self, poses: Poses) -> Array:
        """The strengths, (frames, strengths) in the order of `names`; each strength's frames are contiguous.

        Raises ValueError for joints and controls that the rig does not have.
        """
        table = np.empty((len(self.names), poses.frames))
        for frames, chunk in self._gatherer.chunks(poses, self._chunk_frames):
            self._fill(chunk, table[:, frames])
        return table.T

    def readings(self, poses: Poses) -> Array:
        """The drivers' readings, (frames, drivers) in the order of `driver_names`: radians, metres,
        controls' units.

        Raises ValueError for joints and controls that the rig does not have.
        """
        table = np.empty((len(self.driver_names), poses.frames))
        for frames, chunk in self._gatherer.chunks(poses, self._chunk_frames):
            if self._groups:
                table[:, frames] = self._read(chunk)[self._driver_readings]
        return table.T

    def _read(self, chunk: Chunk) -> Array:
        return np.concatenate([group.read(chunk) for group in self._groups])

    def _fill(self, chunk: Chunk, table: Array) -> None:
        """Writes the strengths of a few frames into their part of the table, (strengths, frames)."""
        if self._groups:
            readings = self._read(chunk)
            for curve in self._curves:
                table[curve.rows] = curve.strengths(readings)
        for field in self._fields:
            table[field.rows] = field.field.strengths(chunk.turns[:, field.joint])[field.columns]
        for combine in self._combines:
            table[combine.row] = combine.strength(table)


@dataclass(frozen=True, eq=False)
class _CurveRows:
    """Drivers that share a curve: their rows of the table, their readings' rows and spans."""

    curve: PreparedCurve
    clamped: bool
    rows: Indexes
    readings: Indexes
    starts: Array
    widths: Array

    def strengths(self, readings: Array) -> Array:
        shares = readings[self.readings]
        shares -= self.starts
        shares /= self.widths
        return self.curve.clamped(shares) if self.clamped else self.curve.open(shares)


@dataclass(frozen=True, eq=False)
class _FieldRows:
    """A field, its joint among the turned ones, and for rows of the table the field's columns."""

    field: PreparedField
    joint: int
    rows: Indexes
    columns: Indexes


@dataclass(frozen=True)
class _CombineRow:
    """A combination with its parts as rows of the table."""

    row: int
    combination: Combination
    rows: dict[str, int]

    def strength(self, table: Array) -> Array:
        return self._combined(self.combination, table)

    def _combined(self, combination: Combination, table: Array) -> Array:
        parts = [
            table[self.rows[part.strength]] if isinstance(part, StrengthOf) else self._combined(part, table)
            for part in combination.parts
        ]
        return combined_rows(combination.how, parts)


def _of_kind(entries: Iterable[object], kind: type[_Kind]) -> list[_Kind]:
    return [entry for entry in entries if isinstance(entry, kind)]


def _whole(values: Iterable[int]) -> Indexes:
    return np.array(list(values), dtype=np.intp)


def _reading_groups(
    readings: Sequence[Reading], skeleton: Skeleton, needs: NeededComponents, rest: ComponentReader
) -> tuple[list[ReadingGroup], list[Reading]]:
    """The readings by kind, and all of them in the order of the groups' rows."""

    sources = ReadingSources(
        skeleton,
        needs.turned,
        needs.local,
        needs.moved,
        needs.scaled,
        needs.controls,
        rest.rotation_rest,
        rest.translation_rest,
        rest.scale_rest,
        rest.control_rest,
    )
    by_kind: dict[str, list[Reading]] = {name: [] for name in GROUPS}
    for reading in readings:
        by_kind[kind_of(reading).name].append(reading)
    groups = [GROUPS[name](members, sources) for name, members in by_kind.items() if members]
    return groups, [reading for members in by_kind.values() for reading in members]


def _curve_rows(drivers: Sequence[Driver], rows: dict[str, int], readings: dict[Reading, int]) -> list[_CurveRows]:
    sharing: dict[tuple[Curve, bool], list[Driver]] = {}
    for driver in drivers:
        sharing.setdefault((driver.curve, driver.clamped), []).append(driver)
    result = []
    for (curve, clamped), members in sharing.items():
        for driver in members:
            if driver.span[0] == driver.span[1]:
                raise ValueError(f"the span of {driver.name} is empty")
        starts, ends = np.array([driver.span for driver in members], dtype=np.float64).T[:, :, np.newaxis]
        result.append(
            _CurveRows(
                prepare(curve),
                clamped,
                _whole(rows[driver.name] for driver in members),
                _whole(readings[driver.reading] for driver in members),
                starts,
                ends - starts,
            )
        )
    return result


def _field_rows(rig: Rig, rows: dict[str, int], needs: NeededComponents) -> list[_FieldRows]:
    wanted: dict[str, list[Sample]] = {field.name: [] for field in rig.fields}
    for sample in _of_kind(rig.strengths, Sample):
        wanted[sample.field].append(sample)
    return [_field_row(field, wanted[field.name], rows, needs) for field in rig.fields if wanted[field.name]]


def _field_row(field: Field, samples: Sequence[Sample], rows: dict[str, int], needs: NeededComponents) -> _FieldRows:
    columns = {sample.name: column for column, sample in enumerate(field.samples[1:])}
    return _FieldRows(
        PreparedField(field),
        needs.turned[seen(field)],
        _whole(rows[sample.name] for sample in samples),
        indexes([sample.sample for sample in samples], columns),
    )


def _combine_row(combine: Combine, rows: dict[str, int]) -> _CombineRow:
    row = rows[combine.name]
    parts = {name: rows[name] for name in strengths_of(combine.combination)}
    for name, part in parts.items():
        if part >= row:
            raise ValueError(f"{combine.name} stands before {name}, which it is made of")
    return _CombineRow(row, combine.combination, parts)


def strengths_of(combination: Combination) -> Iterator[str]:
    """The names of all strengths that a combination is made of, however deep."""
    for part in combination.parts:
        if isinstance(part, StrengthOf):
            yield part.strength
        else:
            yield from strengths_of(part)
