"""Matrices taken apart into translation, rotation and scale (glTF 2.0 section 3.5.3: local = T R S)."""

from __future__ import annotations

from plica.named_tuples import NamedTuple
from plica.rounding import rounded
from plica.skeleton.algebra import (
    Matrix,
    Quaternion,
    Vector,
    cross,
    determinant,
    dot,
    length,
    quaternion_of,
    scaled,
    subtract,
    transpose,
    unit,
)

SHEAR_LIMIT = 1e-4  # cosine between two axes from which on a matrix is called sheared


class Placement(NamedTuple):
    """Translation (metres), unit quaternion, scale, and the largest |cosine| between two axes."""

    translation: Vector
    rotation: Quaternion
    scale: Vector
    shear: float


def decompose(linear: Matrix, translation: Vector) -> Placement:
    """T, R and S of an affine map.

    A mirroring matrix (negative determinant) gets a negative x scale. Axes of length 0 are replaced in R by
    what is at right angles to the others. Shear cannot be kept: the axes are straightened from the first
    on.
    """
    columns = transpose(linear)
    sizes = [length(column) for column in columns]
    axes = [unit(column) if size > 0.0 else None for column, size in zip(columns, sizes, strict=True)]
    if determinant(linear) < 0.0 and axes[0] is not None:
        axes[0], sizes[0] = scaled(axes[0], -1.0), -sizes[0]
    known = [axis for axis in axes if axis is not None]
    shear = max((abs(dot(a, b)) for i, a in enumerate(known) for b in known[:i]), default=0.0)
    rotation = quaternion_of(transpose(_right_angled(axes)))
    return Placement(translation, rotation, rounded((sizes[0], sizes[1], sizes[2])), shear)


def _right_angled(axes: list[Vector | None]) -> Matrix:
    """Three axes at right angles, right-handed, as near to the given ones as their order allows (rows)."""
    first, second, third = axes
    if first is None:
        first = unit(cross(second, third)) if second and third and _apart(second, third) else None
    if first is None:
        first = _any_normal(second or third) if second or third else (1.0, 0.0, 0.0)
    if second is None or not _apart(first, second):
        second = cross(third, first) if third and _apart(third, first) else _any_normal(first)
    second = unit(subtract(second, scaled(first, dot(first, second))))
    return first, second, cross(first, second)


def _apart(a: Vector, b: Vector) -> bool:
    return length(cross(a, b)) > 1e-9


def _any_normal(axis: Vector | None) -> Vector:
    """A unit vector at right angles to a unit vector."""
    assert axis is not None
    least = min(range(3), key=lambda index: abs(axis[index]))
    other = tuple(1.0 if index == least else 0.0 for index in range(3))
    return unit(cross(axis, (other[0], other[1], other[2])))
