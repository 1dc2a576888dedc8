"""Poses at random of all that a rig reads."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import pi
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.evaluate.inverse_readings import ReadingInverter
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.pose_table import PoseRows, PoseTable
from plica.evaluate.poses import Array
from plica.kinds.reading_kind import Needs
from plica.kinds.readings import kind_of, seen
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from plica.skeleton.quaternions import multiply, normalised_rows
from plica.units import Dimension

_BEYOND: Final = 1.25  # how far a joint is moved, times the farthest end of a span that is a length
_SCALES: Final = (0.5, 1.6)  # times those at rest
_AROUND: Final = 0.25  # how far beyond its range a control is set, times the range


class RigMoves(NamedTuple):
    """A rig with what makes its poses: its drivers with the joints that each depends on, and the joints that are read
    with how far each may be moved (metres) and whether it may be scaled.
    """

    rig: Rig
    placer: ReadingInverter
    drivers: tuple[tuple[Driver, frozenset[str]], ...]
    moved: Mapping[str, tuple[float, bool]]


def rig_moves(rig: Rig) -> RigMoves:
    """What makes the poses of a rig. Raises ValueError where a parent does not come before its child."""
    placer = ReadingInverter(rig, skeleton_of(rig))
    drivers = tuple((one, placer.needed(one.reading)) for one in rig.strengths if isinstance(one, Driver))
    return RigMoves(rig, placer, drivers, _moved(rig, placer, drivers))


def _moved(
    rig: Rig, placer: ReadingInverter, drivers: Iterable[tuple[Driver, frozenset[str]]]
) -> dict[str, tuple[float, bool]]:
    result: dict[str, tuple[float, bool]] = {}
    for field in rig.fields:
        result |= dict.fromkeys(sorted(placer.looked_at(seen(field))), (0.0, False))
    for driver, needs in drivers:
        kind = kind_of(driver.reading)
        far = _BEYOND * max(map(abs, driver.span)) if kind.dimension is Dimension.LENGTH else 0.0
        for name in sorted(needs):
            before, scales = result.get(name, (0.0, False))
            result[name] = (max(before, far), scales or kind.needs in (Needs.SCALE, Needs.CHAIN))
    return result


class RandomPoses(NamedTuple):
    """The number of poses, the share of the joints that are posed in each, how far they turn at most (radians), and
    whether half of them turn by anything instead.
    """

    number: int
    share: float
    most: float
    wildly: bool


RANDOM_POSES: Final = (RandomPoses(64, 0.7, pi, True), RandomPoses(16, 0.5, 1.8, False))
"""Figures of our own: most of what is read turned by anything, and half of it by less than a joint usually turns."""


def random_poses(
    source: np.random.Generator, how: RandomPoses, moves: RigMoves, joints: Sequence[str], controls: Sequence[str]
) -> PoseTable:
    """Poses at random; what a rig reads of other joints and controls stays at rest.

    Joints that are read are turned, and moved and scaled where that is read; controls are in their range and around it.
    """
    index = {name: number for number, name in enumerate(joints)}
    read = [(index[name], *how_far) for name, how_far in moves.moved.items() if name in index]
    frames, rows = np.nonzero(source.random((how.number, len(read))) < how.share)
    columns = np.array([column for column, _, _ in read], dtype=np.intp)[rows]
    skeleton = moves.placer.skeleton
    rest = [skeleton.joints[skeleton.index[joints[column]]] for column, _, _ in read]
    far = np.array([one for _, one, _ in read])[rows]
    is_scaled = np.array([one for _, _, one in read], dtype=bool)[rows]

    def rows_of(values: Array, chosen: NDArray[np.bool_]) -> PoseRows:
        return PoseRows(tuple(joints), frames[chosen], columns[chosen], values[chosen])

    every = np.ones(len(rows), dtype=bool)
    turned = multiply(_rows([one.rotation for one in rest], 4)[rows], _turns(source, how, len(rows)))
    steps = _directions(source, len(rows)) * (far * source.random(len(rows)))[:, np.newaxis]
    moved = _rows([one.translation for one in rest], 3)[rows] + steps
    scaled = _rows([one.scale for one in rest], 3)[rows] * source.uniform(*_SCALES, (len(rows), 3))
    return PoseTable(
        how.number,
        rows_of(normalised_rows(turned), every),
        rows_of(moved, far > 0.0),
        rows_of(scaled, is_scaled),
        _controls(source, how.number, moves.rig, controls),
    )


def _turns(source: np.random.Generator, how: RandomPoses, count: int) -> Array:
    """Turns (count, 4), unit quaternions."""
    half = source.uniform(-how.most, how.most, (count, 1)) / 2.0
    limited = np.concatenate([_directions(source, count) * np.sin(half), np.cos(half)], axis=1)
    anything = normalised_rows(source.normal(size=(count, 4)))
    wild = (source.random((count, 1)) < 0.5) & how.wildly
    return np.where(wild, anything, limited)


def _directions(source: np.random.Generator, count: int) -> Array:
    """Unit vectors (count, 3) of any direction."""
    vectors = source.normal(size=(count, 3))
    directions: Array = vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-300)
    return directions


def _controls(source: np.random.Generator, count: int, rig: Rig, names: Sequence[str]) -> PoseRows:
    ranges = {control.name: control.range for control in rig.controls}
    low, high = _rows([ranges[name] for name in names], 2).T
    around = _AROUND * (high - low)
    values = source.uniform(low - around, high + around, (count, len(names)))
    frames, columns = (part.ravel() for part in np.indices(values.shape))
    return PoseRows(tuple(names), frames, columns, values.reshape(-1, 1))


def _rows(values: Sequence[Sequence[float]], width: int) -> Array:
    return np.array(values, dtype=np.float64).reshape(-1, width)
