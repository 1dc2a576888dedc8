"""Small vector and rotation helpers shared by the demo's modules (right-handed, metres, radians)."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats: TypeAlias = NDArray[np.float64]
Integers: TypeAlias = NDArray[np.int64]

MIRROR: Floats = np.diag([-1.0, 1.0, 1.0])
"""Reflection across the character's mirror plane x = 0, shape (3, 3)."""


def unit(vector: ArrayLike) -> Floats:
    """Vectors of shape (..., 3) scaled to length 1; a zero vector stays zero."""
    values = np.asarray(vector, dtype=np.float64)
    length = np.linalg.norm(values, axis=-1, keepdims=True)
    return values / np.where(length > 0.0, length, 1.0)


def across(vector: ArrayLike, axis: ArrayLike) -> Floats:
    """The unit part of `vector` that is perpendicular to the unit vector `axis`; both of shape (3,)."""
    values = np.asarray(vector, dtype=np.float64)
    along = np.asarray(axis, dtype=np.float64)
    return unit(values - along * np.dot(values, along))


def rotation_about(axis: ArrayLike, degrees: float) -> Floats:
    """The (3, 3) rotation matrix about an axis, by Rodrigues' formula; positive turns are right-handed."""
    x, y, z = unit(axis)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    angle = np.radians(degrees)
    turned: Floats = np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * (cross @ cross)
    return turned


def smooth_step(values: ArrayLike) -> Floats:
    """The cubic 3 t^2 - 2 t^3 of values clamped to 0..1, for soft transitions."""
    clamped = np.clip(np.asarray(values, dtype=np.float64), 0.0, 1.0)
    return clamped * clamped * (3.0 - 2.0 * clamped)


def falloff(distance: ArrayLike, radius: float) -> Floats:
    """A bump of height 1 at distance 0 that reaches exactly 0, smoothly, at `radius` (both in metres)."""
    share = np.clip(np.asarray(distance, dtype=np.float64) / radius, 0.0, 1.0)
    return (1.0 - share * share) ** 2


def quaternion_from_matrix(matrix: Floats) -> Floats:
    """The unit quaternion (x, y, z, w), w >= 0, of a (3, 3) rotation matrix.

    Takes the largest of the four squared components first, which keeps the division well-conditioned
    (Shepperd 1978, "Quaternion from rotation matrix").
    """
    trace = float(np.trace(matrix))
    squares = np.array([matrix[0, 0], matrix[1, 1], matrix[2, 2], trace])
    largest = int(np.argmax(squares))
    if largest == 3:
        quaternion = np.array(
            [
                matrix[2, 1] - matrix[1, 2],
                matrix[0, 2] - matrix[2, 0],
                matrix[1, 0] - matrix[0, 1],
                1.0 + trace,
            ]
        )
    else:
        second, third = (largest + 1) % 3, (largest + 2) % 3
        quaternion = np.empty(4)
        quaternion[largest] = 1.0 - trace + 2.0 * matrix[largest, largest]
        quaternion[second] = matrix[second, largest] + matrix[largest, second]
        quaternion[third] = matrix[third, largest] + matrix[largest, third]
        quaternion[3] = matrix[third, second] - matrix[second, third]
    quaternion = quaternion / np.linalg.norm(quaternion)
    signed: Floats = -quaternion if quaternion[3] < 0.0 else quaternion
    return signed
