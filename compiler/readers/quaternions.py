"""Quaternions (x, y, z, w) in the last axis of numpy arrays, as clips hold them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def multiply(a: Array, b: Array) -> Array:
    """The Hamilton product a b over (..., 4): first the turn b, then a."""
    ax, ay, az, aw = np.moveaxis(a, -1, 0)
    bx, by, bz, bw = np.moveaxis(b, -1, 0)
    return np.stack(
        (
            aw * bx + ax * bw + ay * bz - az * by,
            aw * by - ax * bz + ay * bw + az * bx,
            aw * bz + ax * by - ay * bx + az * bw,
            aw * bw - ax * bx - ay * by - az * bz,
        ),
        axis=-1,
    )


def conjugate(q: Array) -> Array:
    """The inverses of unit quaternions (..., 4)."""
    turned: Array = q * np.array((-1.0, -1.0, -1.0, 1.0))
    return turned


def normalised(q: Array) -> Array:
    """The quaternions (..., 4) at length 1; the identity where they are null."""
    size = np.linalg.norm(q, axis=-1, keepdims=True)
    safe = np.where(size == 0.0, 1.0, size)
    return np.where(size == 0.0, np.array((0.0, 0.0, 0.0, 1.0)), q / safe)


def slerp(a: Array, b: Array, share: Array) -> Array:
    """From a (share 0) to b (share 1) along the shorter arc: unit quaternions (n, 4), shares (n,).

    glTF 2.0, Appendix C.4; almost equal ones are mixed linearly, where the sines' quotient loses its digits.
    """
    cosine = np.sum(a * b, axis=-1)
    nearer = np.where(cosine[:, None] < 0.0, -b, b)
    angle = np.arccos(np.clip(np.abs(cosine), 0.0, 1.0))
    close = angle < 1e-6
    sine = np.where(close, 1.0, np.sin(angle))
    first = np.where(close, 1.0 - share, np.sin((1.0 - share) * angle) / sine)
    second = np.where(close, share, np.sin(share * angle) / sine)
    return normalised(first[:, None] * a + second[:, None] * nearer)
