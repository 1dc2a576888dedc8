"""Fields as nodes: the strengths of sample poses, four samples in one vector.

The half angle h to a sample is the arc cosine of a number in 0..1: of |q . sample| for turns, of half the length of the
sum of two directions. Its square, which ramps are made of, is as exact near 0 as anywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import reduce
from typing import Final

from plica.kinds.complete import complete
from plica.kinds.kernels import KERNEL_KINDS
from plica.kinds.readings import seen
from plica.rig.ramps import HELD, angles_between
from plica.rig.strengths import Field
from plica.skeleton.algebra import Vector, conjugate, matrix_of, times
from plica.skeleton.algebra import normalised as unit_quaternion
from plica.targets.gltf.live.arithmetic import Arithmetic
from plica.targets.gltf.live.graph import Output
from plica.targets.gltf.live.joints import AXIS_BITS, NO_FLIP
from plica.targets.gltf.live.readings import ReadingSource

_LANES: Final = 4
_NEAR: Final = 1e-9
"""Strengths this near to 0 are 0."""
_HAIR: Final = 1e-12


def field_strengths(source: ReadingSource, field: Field) -> list[Output]:
    """The strengths of all samples but rest."""
    return _KERNELS[field.kernel](source, field)


# ---- distances


def _turned(source: ReadingSource, field: Field) -> tuple[Output, Vector]:
    """The turn since rest at length 1, and its flip."""
    turn = source.joints.turn(seen(field))
    return source.build.normalised(turn.output), turn.flip


def _directed(source: ReadingSource, field: Field) -> tuple[Output, list[Vector]]:
    """The direction into which the turn takes the axis, and those of the samples."""
    assert field.axis is not None, "directions have an axis"
    rotation, flip = _turned(source, field)
    if flip != NO_FLIP:
        rotation = source.build.multiply(rotation, (*flip, 1.0))
    samples = [times(matrix_of(unit_quaternion(sample.rotation)), field.axis) for sample in field.samples]
    return source.build.rotated(field.axis, rotation), samples


def _cosines(source: ReadingSource, field: Field) -> list[Output]:
    """The cosine of half the angle to each sample, 0 to 1, four in a vector."""
    build = source.build
    if field.metric == "direction":
        own, samples = _directed(source, field)
        return [
            build.multiply(lane, 0.5)
            for lane in _lanes(build, [build.length(build.add(own, theirs)) for theirs in samples])
        ]
    rotation, flip = _turned(source, field)
    dots = []
    for sample in field.samples:
        x, y, z, w = unit_quaternion(sample.rotation)
        dots.append(build.dot(rotation, (x * flip[0], y * flip[1], z * flip[2], w)))
    return [build.applied("abs", lane) for lane in _lanes(build, dots)]


def _distances(source: ReadingSource, field: Field) -> list[Output]:
    """The distance to each sample, exact near 0: 2 sin(a / 2), four in a vector."""
    build = source.build
    if field.metric == "direction":
        own, samples = _directed(source, field)
        return _lanes(build, [build.length(build.subtract(own, theirs)) for theirs in samples])
    rotation, flip = _turned(source, field)
    lengths = []
    for sample in field.samples:
        x, y, z, w = conjugate(unit_quaternion(sample.rotation))
        between = build.turned((x * flip[0], y * flip[1], z * flip[2], w), rotation)
        lengths.append(build.length(build.multiply(between, AXIS_BITS)))
    return [build.multiply(lane, 2.0) for lane in _lanes(build, lengths)]


def _lanes(build: Arithmetic, values: Sequence[Output]) -> list[Output]:
    """Numbers as vectors of four, filled up with 0."""
    padded: list[Output | float] = [*values, *[0.0] * (-len(values) % _LANES)]
    return [build.combined(*padded[start : start + _LANES]) for start in range(0, len(padded), _LANES)]


def _row(values: Sequence[float], lane: int, fill: float = 0.0) -> list[float]:
    """The constants of one vector of four."""
    part = [float(value) for value in values[lane * _LANES : (lane + 1) * _LANES]]
    return part + [fill] * (_LANES - len(part))


def _taken(build: Arithmetic, lanes: Sequence[Output], place: int) -> Output:
    """One number of the vectors."""
    return build.dot(lanes[place // _LANES], _unit(place % _LANES))


def _unit(place: int, value: float = 1.0) -> list[float]:
    return [value if index == place else 0.0 for index in range(_LANES)]


# ---- kernels that interpolate


def _gaussian(source: ReadingSource, field: Field) -> list[Output]:
    """exp(-(d / width)^2) with d^2 = 4 (1 - c^2), c the cosine of the half angle."""
    build, widths = source.build, _widths(field)
    result = []
    for number, lane in enumerate(_cosines(source, field)):
        factors = _row([4.0 / (width * width) for width in widths], number)
        square = build.multiply(build.multiply(lane, lane), factors)
        result.append(build.applied("exp", build.subtract(square, factors)))
    return _interpolated(build, field, result)


def _linear(source: ReadingSource, field: Field) -> list[Output]:
    return _interpolated(source.build, field, _distances(source, field))


def _widths(field: Field) -> list[float]:
    """Of all samples; of rest only where it has one."""
    return [(field.width if sample.width is None else sample.width) or 1.0 for sample in field.samples]


def _interpolated(build: Arithmetic, field: Field, kernels: Sequence[Output]) -> list[Output]:
    result = []
    for place, constant in enumerate(field.constants):
        factors = [row[place] for row in field.coefficients]
        total: Output | None = None
        for number, lane in enumerate(kernels):
            term = build.dot(lane, _row(factors, number))
            total = term if total is None else build.add(total, term)
        assert total is not None, "a field has samples"
        value = build.applied("saturate", build.add(total, constant))
        result.append(build.chosen(build.compared("gt", value, _NEAR), value, 0.0))
    return result


# ---- strengths shared out between samples


def _ramp(source: ReadingSource, field: Field) -> list[Output]:
    """`plica.rig.ramps`: the least of the ramps from all other samples and of the fading, then lowered."""
    build = source.build
    halves = [build.applied("acos", build.least(lane, 1.0)) for lane in _cosines(source, field)]
    squares = [build.multiply(lane, lane) for lane in halves]
    between = angles_between(field.samples, field.metric, field.axis)
    lacking = []
    for number, half in enumerate(halves):
        ramps = [_ramps(build, squares, between, number, step) for step in range(1, len(field.samples))]
        least = build.add(reduce(build.least, ramps), 0.5)
        least = build.least(least, _fading(build, field, half, number))
        lacking.append(build.subtract(1.0, build.applied("saturate", least)))
    return _lowered(build, lacking, len(field.samples) - 1)


def _fading(build: Arithmetic, field: Field, half: Output, number: int) -> Output:
    """(width - a) / ((1 - HELD) width) = 1 / (1 - HELD) - a / ((1 - HELD) width), a twice the half angle."""
    factors = _row([-2.0 / ((1.0 - HELD) * width) for width in _widths(field)], number)
    return build.add(build.multiply(half, factors), 1.0 / (1.0 - HELD))


def _ramps(
    build: Arithmetic, squares: Sequence[Output], between: Sequence[Sequence[float]], number: int, step: int
) -> Output:
    """The ramp to each sample of one vector from the one that stands `step` further on in the circle of all, less 0.5.

    (a_j^2 - a_k^2) / (2 A^2), a twice the half angles, whose squares are given.
    """
    count = len(between)
    samples = range(number * _LANES, min(count, (number + 1) * _LANES))
    others = [(sample + step) % count for sample in samples]
    total: Output | None = None
    for chunk, lane in enumerate(squares):
        rows = [[0.0] * _LANES for _ in range(_LANES)]
        for sample, other in zip(samples, others, strict=True):
            for place, sign in ((other, 1.0), (sample, -1.0)):
                if place // _LANES == chunk:
                    rows[sample % _LANES][place % _LANES] += sign
        if any(any(row) for row in rows):
            term = build.transformed(lane, rows)
            total = term if total is None else build.add(total, term)
    assert total is not None, "a sample has others"
    factors = [2.0 / between[sample][other] ** 2 for sample, other in zip(samples, others, strict=True)]
    return build.multiply(total, _row(factors, 0))


def _lowered(build: Arithmetic, lacking: Sequence[Output], count: int) -> list[Output]:
    """What each strength lacks of 1, times the factor with which they add up to 1 where they were more; taken off 1.

    With s_m the sum of the m least lacks, the factor is the greatest of 1 and of (m - 1) / s_m for m from 2: counting
    one more raises it just as long as that one stays above 0. Of two samples one is not nearer, and lacks at least a
    half: no sum is 0.
    """
    scaled = list(lacking)
    if count > 1:
        lacks = [_taken(build, lacking, place) for place in range(1, count + 1)]
        sums = _sums_of_least(build, lacks)
        factor: Output | float = 1.0
        for others, total in enumerate(sums, 1):
            factor = build.greatest(build.divide(float(others), total), factor)
        assert isinstance(factor, Output)
        every = build.combined(*[factor] * _LANES)
        scaled = [build.multiply(lane, every) for lane in lacking]
    strengths = [build.applied("saturate", build.subtract(1.0 - _HAIR, lane)) for lane in scaled]
    return [_taken(build, strengths, place) for place in range(1, count + 1)]


def _sums_of_least(build: Arithmetic, values: Sequence[Output]) -> list[Output]:
    """The sums of the least two, three and so on of at least two numbers."""
    if len(values) <= 3:
        total = reduce(build.add, values)
        return [build.subtract(total, reduce(build.greatest, values)), total][3 - len(values) :]
    ordered = list(values)
    # Neighbours put in order, row by row ("odd-even transposition sort"): as many rows as numbers are enough.
    for row in range(len(ordered)):
        for first in range(row % 2, len(ordered) - 1, 2):
            a, b = ordered[first], ordered[first + 1]
            ordered[first], ordered[first + 1] = build.least(a, b), build.greatest(a, b)
    sums = [ordered[0]]
    for value in ordered[1:]:
        sums.append(build.add(sums[-1], value))
    return sums[1:]


_KERNELS: Final[Mapping[str, Callable[[ReadingSource, Field], list[Output]]]] = complete(
    {"ramp": _ramp, "gaussian": _gaussian, "linear": _linear}, KERNEL_KINDS, "kernel as nodes of a graph"
)
