"""Affine matrices taken apart into a rigid motion, as a dual quaternion, after a stretch."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from plica.mesh.arrays import Floats


class Motions(NamedTuple):
    """real, dual (..., 4) x y z w: a unit dual quaternion; stretch (..., 3, 3): a symmetric matrix that acts first."""

    real: Floats
    dual: Floats
    stretch: Floats


def motions(affines: Floats) -> Motions:
    """The motions of affine matrices (..., 3, 4).

    Linear part = rotation x stretch, by polar decomposition; where the determinant is negative the stretch takes
    the sign, so that the rotation is one. The dual part is t real / 2 (Kavan and others, "Skinning with Dual
    Quaternions", 2007).
    """
    left, sizes, right = np.linalg.svd(affines[..., :3])
    turned = np.matmul(left, right)
    sign = np.where(np.linalg.det(turned) < 0, -1.0, 1.0)[..., np.newaxis, np.newaxis]
    stretch = sign * np.matmul(right.swapaxes(-1, -2) * sizes[..., np.newaxis, :], right)
    real = quaternions_of(turned * sign)
    return Motions(real, _dual(real, affines[..., 3]), stretch)


def quaternions_of(rotations: Floats) -> Floats:
    """The unit quaternions (..., 4), x y z w, of rotation matrices (..., 3, 3), of either sign.

    The largest of the four squared components is found first, so that no small number is divided by (Shepperd,
    "Quaternion from rotation matrix", 1978).
    """
    (a, b, c), (d, e, f), (g, h, i) = np.moveaxis(rotations, (-2, -1), (0, 1))
    candidates = np.stack(
        [
            np.stack([1 + a - e - i, b + d, c + g, h - f], axis=-1),
            np.stack([b + d, 1 - a + e - i, f + h, c - g], axis=-1),
            np.stack([c + g, f + h, 1 - a - e + i, d - b], axis=-1),
            np.stack([h - f, c - g, d - b, 1 + a + e + i], axis=-1),
        ],
        axis=-2,
    )
    squares = np.diagonal(candidates, axis1=-2, axis2=-1)
    largest = np.argmax(squares, axis=-1)[..., np.newaxis, np.newaxis]
    chosen = np.take_along_axis(candidates, largest, axis=-2)[..., 0, :]
    return np.asarray(chosen / np.linalg.norm(chosen, axis=-1, keepdims=True))


def _dual(real: Floats, translation: Floats) -> Floats:
    x, y, z, w = np.moveaxis(real, -1, 0)
    a, b, c = np.moveaxis(translation, -1, 0)
    return 0.5 * np.stack(
        [
            a * w + b * z - c * y,
            b * w + c * x - a * z,
            c * w + a * y - b * x,
            -(a * x + b * y + c * z),
        ],
        axis=-1,
    )
