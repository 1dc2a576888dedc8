"""Arithmetic of many quaternions (x, y, z, w) at once; `plica.skeleton.algebra` has that of one, without numpy.

Two layouts: by component, (4, rows, frames), so that numpy walks along contiguous frames; and by row, (..., 4), as
files hold them. Vectors go with them: (3, rows, frames).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# ---- by component, (4, rows, frames) ------------------------------------------------------------------


def turn_since(rest: Array, rotation: Array) -> Array:
    """conj(rest) * rotation (Hamilton product): the turn since rest, in the rest frame.

    Shapes (4, rows, frames), broadcast. The terms stand in pairs that cancel exactly where both are the
    same, so that the rest pose gives a vector part of exactly 0 in any rounding.
    """
    ax, ay, az, aw = rest
    bx, by, bz, bw = rotation
    return np.stack(
        (
            (aw * bx - ax * bw) + (az * by - ay * bz),
            (aw * by - ay * bw) + (ax * bz - az * bx),
            (aw * bz - az * bw) + (ay * bx - ax * by),
            (aw * bw + ax * bx) + (ay * by + az * bz),
        )
    )


def product_of(a: Array, b: Array) -> Array:
    """The Hamilton product a b: first the turn b, then a. Shapes (4, ...), broadcast."""
    ax, ay, az, aw = a
    bx, by, bz, bw = b
    return np.stack(
        (
            (aw * bx + ax * bw) + (ay * bz - az * by),
            (aw * by + ay * bw) + (az * bx - ax * bz),
            (aw * bz + az * bw) + (ax * by - ay * bx),
            (aw * bw - ax * bx) - (ay * by + az * bz),
        )
    )


def with_positive_scalar(turn: Array) -> Array:
    """The same turns (q and -q are one) with w >= 0, never -0; changes `turn` in place and returns it."""
    negative = turn[3] < 0
    if negative.any():
        np.negative(turn, out=turn, where=negative)
    turn[3] += 0.0  # -0 + 0 is +0: atan2 tells them apart
    return turn


def normalised(turn: Array) -> Array:
    """The quaternions at length 1; the identity where they are null. Shape (4, ...)."""
    x, y, z, w = turn
    size = np.sqrt((x * x + y * y) + (z * z + w * w))
    null = size == 0
    if null.any():
        turn = turn.copy()
        turn[3][null] = 1.0
        size = np.where(null, 1.0, size)
    result: Array = turn / size
    return result


def turned(rotation: Array, vector: Array) -> Array:
    """Vectors (3, rows, frames) turned by quaternions of any length but 0 (which leave them as they are).

    v + 2 (w (u x v) + u x (u x v)) / |q|^2 with u the vector part.
    """
    x, y, z, w = rotation
    a, b, c = vector
    size = (x * x + y * y) + (z * z + w * w)
    double = 2.0 / np.where(size == 0, 1.0, size)
    p, q, r = y * c - z * b, z * a - x * c, x * b - y * a
    return np.stack(
        (
            a + double * (w * p + (y * r - z * q)),
            b + double * (w * q + (z * p - x * r)),
            c + double * (w * r + (x * q - y * p)),
        )
    )


# ---- by row, (..., 4) ---------------------------------------------------------------------------------


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


def normalised_rows(q: Array) -> Array:
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
    return normalised_rows(first[:, None] * a + second[:, None] * nearer)


def quaternions_of(rotations: Array) -> Array:
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


def matrices_of(q: Array) -> Array:
    """The rotation matrices (..., 3, 3) of unit quaternions (..., 4)."""
    x, y, z, w = np.moveaxis(q, -1, 0)
    rows = (
        (1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y - z * w), 2.0 * (x * z + y * w)),
        (2.0 * (x * y + z * w), 1.0 - 2.0 * (x * x + z * z), 2.0 * (y * z - x * w)),
        (2.0 * (x * z - y * w), 2.0 * (y * z + x * w), 1.0 - 2.0 * (x * x + y * y)),
    )
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
