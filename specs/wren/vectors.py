"""Small vector and rotation helpers shared by the demo's modules (right-handed, metres, radians)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from plica.picture.directions import Floats, unit

MIRROR: Floats = np.diag([-1.0, 1.0, 1.0])
"""Reflection across the character's mirror plane x = 0, shape (3, 3)."""


def rotation_about(axis: ArrayLike, degrees: float) -> Floats:
    """The (3, 3) rotation matrix about an axis, by Rodrigues' formula; positive turns are right-handed."""
    x, y, z = unit(axis)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    angle = np.radians(degrees)
    turned: Floats = np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * (cross @ cross)
    return turned


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
