"""Affine frames: put one into another, undone, compared, taken apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from plica.skeleton.algebra import (
    Matrix,
    Vector,
    add,
    cross,
    determinant,
    dot,
    length,
    product,
    scaled,
    subtract,
    times,
    transpose,
)
from plica.skeleton.skeleton import Frame, Joint, Skeleton, local_frame

SAME_PLACE: Final = 1e-4
"""Share of the body's size up to which two poses put a joint at the same place."""
SAME_AXES: Final = 1e-3
"""Up to which the elements of two frames are the same, as a share of the frames' scale."""
_POLAR_ROUNDS: Final = 60


def extent_of(places: Sequence[Vector]) -> float:
    """The longest edge of the box around some places; 0 where there is none."""
    return max((max(axis) - min(axis) for axis in zip(*places, strict=True)), default=0.0)


def body_size(skeleton: Skeleton) -> float:
    """The longest edge of the box around the joints, metres; 1 where they stand at one place."""
    return extent_of([frame.origin for frame in skeleton.frames]) or 1.0


def same_frame(first: Frame, second: Frame, size: float) -> bool:
    """Whether two frames are the same but for rounding, on a body of this size."""
    largest = max(abs(value) for row in (*first.linear, *second.linear) for value in row)
    apart = max(
        abs(a - b)
        for one, other in zip(first.linear, second.linear, strict=True)
        for a, b in zip(one, other, strict=True)
    )
    return apart <= SAME_AXES * largest and length(subtract(first.origin, second.origin)) <= SAME_PLACE * size


def composed(first: Frame, second: Frame) -> Frame:
    """The frame that `second`, given in `first`, has outside of it."""
    return Frame(product(first.linear, second.linear), add(times(first.linear, second.origin), first.origin))


def inverted(frame: Frame) -> Frame | None:
    """The inverse map; None where there is none."""
    a, b, c = frame.linear
    size = max(abs(value) for row in frame.linear for value in row)
    volume = determinant(frame.linear)
    if not abs(volume) > 1e-12 * size**3:
        return None
    columns = (cross(b, c), cross(c, a), cross(a, b))
    linear = transpose((scaled(columns[0], 1 / volume), scaled(columns[1], 1 / volume), scaled(columns[2], 1 / volume)))
    return Frame(linear, scaled(times(linear, frame.origin), -1.0))


def polar(linear: Matrix) -> tuple[Matrix, Matrix]:
    """The orthogonal and the symmetric factor Q P of an invertible matrix.

    Newton's iteration to the nearest orthogonal matrix (Higham, "Computing the polar decomposition", 1986), scaled by
    the determinant while far away.
    """
    turned = linear
    for _ in range(_POLAR_ROUNDS):
        inverse = inverted(Frame(turned, (0.0, 0.0, 0.0)))
        if inverse is None:
            break
        factor = abs(determinant(turned)) ** (-1 / 3)
        factor = 1.0 if abs(factor - 1.0) < 0.1 else factor
        other = transpose(inverse.linear)
        rows = [
            add(scaled(row, 0.5 * factor), scaled(opposite, 0.5 / factor))
            for row, opposite in zip(turned, other, strict=True)
        ]
        change = max(length(subtract(row, before)) for row, before in zip(rows, turned, strict=True))
        turned = (rows[0], rows[1], rows[2])
        if change < 1e-15:
            break
    return turned, product(transpose(turned), linear)


def is_similarity(frame: Frame) -> bool:
    """Whether a map turns, scales evenly and moves, and does nothing else."""
    columns = transpose(frame.linear)
    sizes = [length(column) for column in columns]
    largest = max(sizes)
    across = max(abs(dot(columns[a], columns[b])) for a, b in ((0, 1), (1, 2), (0, 2)))
    return min(sizes) >= (1 - SAME_AXES) * largest > 0.0 and across <= SAME_AXES * largest * largest


def local_of(joint: Joint) -> Frame:
    """A joint's frame in its parent."""
    return local_frame(joint.translation, joint.rotation, joint.scale)
