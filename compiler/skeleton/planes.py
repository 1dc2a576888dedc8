"""The mirror plane between left and right: along an axis of the model, or turned with the whole character."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from plica.named_tuples import NamedTuple
from plica.rounding import rounded
from plica.skeleton.algebra import Matrix, Vector, add, dot, length, product, scaled, subtract, unit
from plica.skeleton.frames import body_size
from plica.skeleton.middle import median
from plica.skeleton.sides import AXES, AxisName, Pair
from plica.skeleton.skeleton import Skeleton

NORMALS: Final[dict[AxisName, Vector]] = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}
"""The axes as unit vectors."""
EVEN_SHARE: Final = 0.02
"""Share of the body's size that a pair may miss its mirror image by in an even pose."""
OFF_AXIS: Final = 1e-3
"""Share of the body's size up to which a miss is taken for carelessness with a plane that lies along an axis."""
CLEARLY: Final = 4.0
"""How many times as even something must be to count as clearly the more even."""
FEWEST: Final = 3
"""Pairs that a plane which lies along no axis takes: between one pair there always is one, between two often."""
_LEADING: Final = 0.5  # how much of an axis must lead away from a plane to tell its sides
_SQUARINGS: Final = 40
_ROUNDS: Final = 3

Places = Sequence[tuple[Vector, Vector]]
"""Where the left and the right joint of each pair stand, metres of model space."""


class Plane(NamedTuple):
    """The points p with normal . p = offset (metres); `normal` is a unit vector.

    `residual`: how far (metres) the worst pair is off it, `worst` its name.
    """

    normal: Vector
    offset: float = 0.0
    residual: float = 0.0
    worst: str = ""

    @classmethod
    def across(cls, axis: AxisName, offset: float = 0.0) -> Plane:
        """The plane that stands on an axis of the model."""
        return cls(NORMALS[axis], offset)

    @property
    def axis(self) -> AxisName | None:
        """The axis that the plane stands on; None where it stands on none."""
        return axis_of(self.normal)

    @property
    def nearest_axis(self) -> AxisName:
        """The axis that is nearest to the normal, of some as near the first."""
        return AXES[leading(self.normal)]

    def sign_of(self, axis: str) -> float:
        """On which side of the plane an axis such as `-x` leads: 1.0 for the normal's, -1.0 for the other; 0.0 for
        neither, where it runs along the plane or nearly so.
        """
        share = self.normal["xyz".index(axis.lstrip("+-"))] * (-1.0 if axis.startswith("-") else 1.0)
        return 0.0 if abs(share) < _LEADING else 1.0 if share > 0 else -1.0

    @property
    def text(self) -> str:
        """What the plane stands across, for people: `x`, or a vector."""
        return self.axis or "(" + ", ".join(f"{round(value, 4) + 0.0:g}" for value in self.normal) + ")"

    @property
    def place(self) -> str:
        """How far off the origin the plane lies, metres for people."""
        return f"{round(self.offset, 6) + 0.0:.4g}"

    @property
    def reflection(self) -> Matrix:
        """The linear part of the reflection, 1 - 2 n n^T (Householder's): for an axis a diagonal matrix with one -1."""
        rows = [
            tuple(float(row == column) - 2.0 * a * b for column, b in enumerate(self.normal))
            for row, a in enumerate(self.normal)
        ]
        first, second, third = ((row[0], row[1], row[2]) for row in rows)
        return first, second, third

    def height(self, point: Vector) -> float:
        """How far a point lies on the side that the normal shows to, metres; negative on the other."""
        return dot(self.normal, point) - self.offset

    def reflect(self, point: Vector) -> Vector:
        """The mirrored point."""
        axis = self.axis
        if axis is None:
            return subtract(point, scaled(self.normal, 2.0 * self.height(point)))
        mirrored = list(point)
        index = AXES.index(axis)
        mirrored[index] = 2 * self.offset - mirrored[index]
        return (mirrored[0], mirrored[1], mirrored[2])


def axis_of(normal: Sequence[float]) -> AxisName | None:
    """The axis that a unit vector is; None where it is none of the three."""
    return next((name for name, vector in NORMALS.items() if tuple(normal) == vector), None)


def leading(vector: Vector) -> int:
    """The number of a vector's largest component, of some that are nearly as large the first."""
    largest = max(map(abs, vector))
    return next(index for index, value in enumerate(vector) if abs(value) >= 0.99 * largest)


def find_plane(
    skeleton: Skeleton, pairs: Sequence[Pair], axis: AxisName | None = None, offset: float | None = None
) -> Plane | None:
    """The plane that mirrors the pairs' places best; None without pairs unless both values are given.

    Of the axes (or the one given) the one with the smallest worst distance between a joint and its mirrored
    partner is taken, the offset being the mean of the pairs' middles unless given. Where nothing is given and the pairs
    are plainly even across a plane that lies along no axis, it is that one.
    """
    if not pairs:
        return None if axis is None else Plane.across(axis, offset or 0.0)
    places = _places(skeleton, pairs)
    candidates = [_along(axis, offset, places, pairs) for axis in (AXES if axis is None else (axis,))]
    best = min(candidates, key=lambda plane: plane.residual)
    looks_further = axis is None and offset is None and is_off_axis(best, skeleton)
    turned = turned_plane(skeleton, pairs) if looks_further else None
    return turned if turned is not None and plainly_evener(turned, best, skeleton) else best


def plainly_evener(turned: Plane, along: Plane, skeleton: Skeleton) -> bool:
    """Whether pairs are plainly even across a turned plane, and not across the one along an axis."""
    size = body_size(skeleton)
    even = turned.residual <= EVEN_SHARE * size and CLEARLY * turned.residual < along.residual
    return even and is_off_axis(along, skeleton)


def is_off_axis(along: Plane, skeleton: Skeleton) -> bool:
    """Whether pairs are so uneven across a plane along an axis that a turned one is worth looking for."""
    return along.residual > OFF_AXIS * body_size(skeleton)


def turned_plane(skeleton: Skeleton, pairs: Sequence[Pair]) -> Plane | None:
    """The plane of any direction that mirrors the pairs best; None where they are too few to tell.

    Pairs that fit far worse than most have no say in where it lies, but in how even it is.
    """
    places = _places(skeleton, pairs)
    if len(places) < FEWEST:
        return None
    plane, grain = fitted(places), 1e-6 * body_size(skeleton)
    for _ in range(_ROUNDS):
        misses = [_miss(plane, place) for place in places]
        limit = max(CLEARLY * median(misses), grain)
        fitting = [place for place, miss in zip(places, misses, strict=True) if miss <= limit]
        if len(fitting) < FEWEST:
            break
        plane = fitted(fitting)
    return judged(plane, places, pairs)


def fitted(places: Places) -> Plane:
    """The plane that mirrors places onto their partners with the least sum of squared distances.

    With d the way from one to the other and m the middle between both, less the mean of all middles, the sum for a
    plane through that mean is sum |d|^2 + n^T (4 sum m m^T - sum d d^T) n, so that n is the eigenvector of the
    smallest eigenvalue. It is found by squaring c - M until only it is left.
    """
    ways = [subtract(left, right) for left, right in places]
    middles = [scaled(add(left, right), 0.5) for left, right in places]
    x, y, z = (sum(values) / len(middles) for values in zip(*middles, strict=True))
    spread = [scaled(subtract(middle, (x, y, z)), 2.0) for middle in middles]
    matrix = _outer_sum(ways, spread)
    for _ in range(_SQUARINGS):
        matrix = product(matrix, matrix)
        largest = max(abs(value) for row in matrix for value in row) or 1.0
        matrix = (scaled(matrix[0], 1 / largest), scaled(matrix[1], 1 / largest), scaled(matrix[2], 1 / largest))
    normal = unit(max(matrix, key=length))
    if normal[leading(normal)] < 0:
        normal = scaled(normal, -1.0)
    normal = rounded(normal)
    return Plane(normal, rounded((dot(normal, (x, y, z)), max(map(abs, (x, y, z)))))[0])


def _outer_sum(ways: Sequence[Vector], spread: Sequence[Vector]) -> Matrix:
    """c - 4 sum m m^T + sum d d^T, with c so large that no eigenvalue is negative."""
    bound = sum(dot(vector, vector) for vector in spread)
    rows = [
        tuple(
            bound * (row == column)
            + sum(way[row] * way[column] for way in ways)
            - sum(vector[row] * vector[column] for vector in spread)
            for column in range(3)
        )
        for row in range(3)
    ]
    first, second, third = ((row[0], row[1], row[2]) for row in rows)
    return first, second, third


def judged(plane: Plane, places: Places, pairs: Sequence[Pair]) -> Plane:
    """The plane with how far the worst of the pairs is off it."""
    distances = [_miss(plane, place) for place in places]
    residual = max(distances)
    return plane._replace(residual=residual, worst=pairs[distances.index(residual)].base)


def _along(axis: AxisName, offset: float | None, places: Places, pairs: Sequence[Pair]) -> Plane:
    if offset is None:
        coordinate = AXES.index(axis)
        values = [place[coordinate] for pair in places for place in pair]
        # What is left of large numbers that cancel is told with the digits of those.
        offset = rounded((sum(values) / len(values), max(map(abs, values))))[0]
    return judged(Plane.across(axis, offset), places, pairs)


def _places(skeleton: Skeleton, pairs: Sequence[Pair]) -> list[tuple[Vector, Vector]]:
    return [(skeleton.frames[pair.left].origin, skeleton.frames[pair.right].origin) for pair in pairs]


def _miss(plane: Plane, place: tuple[Vector, Vector]) -> float:
    return length(subtract(plane.reflect(place[0]), place[1]))
