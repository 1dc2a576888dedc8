"""The kernel `ramp`: strengths shared out between the samples of a field, in plain Python.

For the samples k and j (rest is one of them) the ramp from j to k at a pose is

    (1 + (a_j^2 - a_k^2) / A^2) / 2

with the angles a_j and a_k from the pose to both and A between them: 0 at j, 1 at k, and a straight line between them
where space is flat (the projection of the pose on the line from j to k). A sample's strength is the least of its ramps
from all others and of its fading, 1 within `HELD` of its width and then falling in a straight line to 0 at its width.
Where that adds up to more than 1, what each lacks of 1 grows by the same factor until it adds up to 1 (`lowered`). So

- strengths are exact at samples, from 0 to 1, at most 1 in sum, and continuous;
- midway between neighbours both have a ramp of 1/2 between them, and all other ramps are at least that there, because
  no other sample is nearer to the middle than they are: they add up to 1;
- a sample is below 1/2 where another one is nearer;
- from rest to a neighbour of it the strength rises all the way: where space is flat, every ramp that is below 1 there
  is a straight line that reaches 1 at the sample; those of others are concave, 0 at rest, and never above its ramp from
  rest, so that what it lacks of 1 falls relatively faster than the sum of what all lack.

The formula is our own.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from math import atan2, inf
from typing import Final, Literal

from plica.rig.strengths import FieldSample
from plica.skeleton.algebra import (
    Quaternion,
    Vector,
    add,
    conjugate,
    length,
    matrix_of,
    multiply,
    normalised,
    subtract,
    times,
)

Metric = Literal["rotation", "direction"]

HELD: Final = 0.25
"""The share of its width up to which a sample's strength is held."""
REACH_OF_NEIGHBOURS: Final = 0.8
"""The share of a neighbour's distance that the width is at least: midway the fading is above 1/2."""


def angle_between(a: Quaternion, b: Quaternion, metric: Metric, axis: Vector | None) -> float:
    """The angle (rad, 0 to pi) between two turns, or between the directions into which they turn `axis`.

    Raises ValueError where an axis is missing. Directions by Kahan's formula, exact near 0 and near pi.
    """
    first, second = normalised(a), normalised(b)
    if metric == "rotation":
        x, y, z, w = multiply(conjugate(first), second)
        return 2.0 * atan2(length((x, y, z)), abs(w))
    if axis is None:
        raise ValueError('the metric "direction" needs an axis')
    return _angle(times(matrix_of(first), axis), times(matrix_of(second), axis))


def _angle(a: Vector, b: Vector) -> float:
    return 2.0 * atan2(length(subtract(a, b)), length(add(a, b)))


def angles_between(samples: Sequence[FieldSample], metric: Metric, axis: Vector | None) -> list[list[float]]:
    """The angles (rad) between all samples, a row for each."""
    return [[angle_between(a.rotation, b.rotation, metric, axis) for b in samples] for a in samples]


def neighbours(between: Sequence[Sequence[float]]) -> list[tuple[int, int]]:
    """Pairs of samples (indices, rest is 0) between which no other stands, of the angles between all.

    One stands between two where it sees them more than a right angle apart, by the sides of the triangle as if flat.
    """
    return [
        (a, b)
        for a, b in combinations(range(len(between)), 2)
        if not any(
            one * one + other * other < between[a][b] ** 2
            for one, other in zip(between[a], between[b], strict=True)
            if one and other
        )
    ]


def default_widths(samples: Sequence[FieldSample], metric: Metric, axis: Vector | None) -> list[float | None]:
    """The width (rad) of each sample that states none: how far rest is, or 4/5 of the farthest neighbour's distance.

    The wider of the two; None for rest, which has no strength.
    """
    angles = angles_between(samples, metric, axis)
    widths: list[float | None] = [None, *(angles[0][1:])]
    for a, b in neighbours(angles):
        for one in (a, b):
            width = widths[one]
            if width is not None:
                widths[one] = max(width, REACH_OF_NEIGHBOURS * angles[a][b])
    return widths


def ramped_strengths(
    angles: Sequence[float], between: Sequence[Sequence[float]], widths: Sequence[float | None]
) -> list[float]:
    """The strengths of the samples after rest of the angles from a pose to all samples, and between the samples."""
    result = []
    for k, (angle, width) in enumerate(zip(angles, widths, strict=True)):
        if width is None:
            continue
        least = (width - angle) / ((1.0 - HELD) * width)
        for j, other in enumerate(angles):
            if j != k:
                least = min(least, 0.5 * (1.0 + (other * other - angle * angle) / between[k][j] ** 2))
        result.append(min(1.0, max(0.0, least)))
    return lowered(result)


def lowered(strengths: Sequence[float]) -> list[float]:
    """Strengths that add up to more than 1, lowered until they add up to 1; all others as they are.

    What each lacks of 1 grows by the same factor, so that the strongest lose least, and what falls below 0 is 0.
    """
    if sum(strengths) <= 1.0:
        return list(strengths)
    lacking = sorted(1.0 - value for value in strengths)
    total, factor = 0.0, inf
    for others, lack in enumerate(lacking):
        total += lack
        if others * lack >= total > 0.0:
            break
        factor = others / total if total > 0.0 else inf
    return [1.0 if value == 1.0 else max(0.0, 1.0 - factor * (1.0 - value)) for value in strengths]
