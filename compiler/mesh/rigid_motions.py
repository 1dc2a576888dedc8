"""Affine matrices taken apart into a rigid motion, as a dual quaternion, after a stretch."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from plica.mesh.arrays import Floats
from plica.skeleton.quaternions import quaternions_of


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
