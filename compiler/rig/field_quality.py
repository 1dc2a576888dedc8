"""How well a field's kernel behaves between and beyond its samples: conditioning and stray activation."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from itertools import product
from math import pi
from typing import Final

from plica.kinds.kernels import RADIAL_KERNELS
from plica.named_tuples import NamedTuple
from plica.rig.radial import condition, distance
from plica.rig.ramps import angle_between, angles_between, neighbours, ramped_strengths
from plica.rig.strengths import Field
from plica.skeleton.algebra import Quaternion, Vector, about, normalised, unit

ILL_CONDITIONED: Final = 1e3
"""The condition number from which an error of a thousandth in a sample can become a whole; a figure of our own."""
STRAYING: Final = 0.1
"""The stray activation that is reported; a figure of our own."""
_STEPS: Final = 12


class FieldQuality(NamedTuple):
    """`condition`: of the equations that were solved, None where there are none.

    `stray`: the largest strength of any sample in poses that are at least as far from it as rest and each of its
    neighbours are, of those that were tried: of `sample`, in a pose `angle` radians from it. 0 for "ramp" of default
    widths.
    """

    condition: float | None
    stray: float
    sample: str
    angle: float


def quality_of(field: Field) -> FieldQuality:
    """Tries turns about many axes, those of the samples among them, in steps of 15 degrees."""
    between = angles_between(field.samples, field.metric, field.axis)
    reaches = _reaches(between)
    stray, sample, angle = max(
        (found for turn in _turns(field) for found in _strays(field, turn, between, reaches)), default=(0.0, "", 0.0)
    )
    number = None
    if field.kernel in RADIAL_KERNELS:
        width = 1.0 if field.width is None else field.width
        number = condition(field.samples, field.metric, field.axis, field.kernel, width)
    return FieldQuality(number, stray, sample, angle)


def _strays(
    field: Field, turn: Quaternion, between: Sequence[Sequence[float]], reaches: Sequence[float]
) -> Iterator[tuple[float, str, float]]:
    angles = [angle_between(sample.rotation, turn, field.metric, field.axis) for sample in field.samples]
    far = [angle >= reach for angle, reach in zip(angles[1:], reaches, strict=True)]
    if not any(far):
        return
    strengths = _strengths(field, turn, angles, between)
    for sample, angle, strength, strays in zip(field.samples[1:], angles[1:], strengths, far, strict=True):
        if strays:
            yield strength, sample.name, angle


def _strengths(
    field: Field, turn: Quaternion, angles: Sequence[float], between: Sequence[Sequence[float]]
) -> list[float]:
    """The strengths at one turn since rest, as `plica.evaluate.fields` has them for many."""
    kernel = RADIAL_KERNELS.get(field.kernel)
    if kernel is None:
        return ramped_strengths(angles, between, [sample.width for sample in field.samples])
    common = 1.0 if field.width is None else field.width
    values = [
        kernel.value(distance(sample.rotation, turn, field.metric, field.axis), sample.width or common)
        for sample in field.samples
    ]
    columns = zip(*field.coefficients, strict=True)
    return [
        min(1.0, max(0.0, constant + sum(value * factor for value, factor in zip(values, column, strict=True))))
        for constant, column in zip(field.constants, columns, strict=True)
    ]


def _reaches(between: Sequence[Sequence[float]]) -> list[float]:
    """How far rest and the neighbours of each sample are at most (rad)."""
    result = list(between[0])
    for a, b in neighbours(between):
        result[a], result[b] = max(result[a], between[a][b]), max(result[b], between[a][b])
    return result[1:]


def _turns(field: Field) -> Iterator[Quaternion]:
    axes = [*_axes(), *(axis for sample in field.samples if (axis := _axis(sample.rotation)) is not None)]
    for axis in axes:
        for step in range(-_STEPS, _STEPS + 1):
            yield about(axis, step * pi / _STEPS)


def _axis(turn: Quaternion) -> Vector | None:
    x, y, z, _ = normalised(turn)
    return unit((x, y, z)) if max(abs(x), abs(y), abs(z)) > 0.0 else None


@cache
def _axes() -> tuple[Vector, ...]:
    """Half of the 26 directions to the neighbours of a cube in a grid; the other half are the same turned over."""
    return tuple(unit((x, y, z)) for x, y, z in product((-1.0, 0.0, 1.0), repeat=3) if (x, y, z) > (0.0, 0.0, 0.0))
