"""Quaternions by component over (rows, frames), so that numpy walks along contiguous frames.

An array of quaternions has the shape (4, rows, frames) in the order x, y, z, w.
"""

from __future__ import annotations

import numpy as np

from plica.evaluate.poses import Array


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


def with_positive_scalar(turn: Array) -> Array:
    """The same turns (q and -q are one) with w >= 0, never -0; changes `turn` in place and returns it."""
    negative = turn[3] < 0
    if negative.any():
        np.negative(turn, out=turn, where=negative)
    turn[3] += 0.0  # -0 + 0 is +0: atan2 tells them apart
    return turn


def normalised(turn: Array) -> Array:
    """The quaternions at length 1; the identity where they are null. Shape (4, rows, frames)."""
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
