"""Blocks of frames turned round, frames last, so that one step of arithmetic serves many frames with few gathers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Integers

Singles = NDArray[np.float32]

# Frames worked on at once: enough that a step of arithmetic costs more than starting it does.
FRAMES = 64
# As many where few arrays are made of them: memory is read quicker in longer rows.
MANY = 256
# Rows x frames: a few arrays of so many numbers stay in a core's cache.
CACHED = 1 << 14


def turned(positions: Floats) -> Floats:
    """Positions (frames, v, 3) seen as (3, v, frames); nothing is copied."""
    return positions.transpose(2, 1, 0)


def lanes(positions: Floats, vertices: Integers) -> Floats:
    """Positions (frames, v, 3) of some vertices (n,), as (3, n, frames)."""
    result = np.empty((3, len(vertices), len(positions)))
    for axis, values in enumerate(turned(positions)):
        result[axis] = values[vertices]
    return result


class Near(NamedTuple):
    """Places in single precision since an origin of each frame: places (3, n, frames), and extents (frames,) that no
    coordinate exceeds, not a number or infinite in frames where a place is."""

    places: Singles
    extents: Floats


def singles(positions: Floats, vertices: Integers, origins: Floats) -> Near:
    """Positions (frames, v, 3) of some vertices (n,), rising, n > 0, since origins (frames, 3).

    Rounding keeps the order of numbers.
    """
    frames = len(positions)
    result = np.empty((3, len(vertices), frames), np.float32)
    everything = len(vertices) == positions.shape[1]
    extent = np.float32(0.0)
    for rows in row_pieces(len(vertices), frames):
        for axis, values in enumerate(turned(positions)):
            part = result[axis, rows]
            chosen = values[rows if everything else vertices[rows]]
            np.subtract(chosen, origins[:, axis], out=part, casting="same_kind")
            extent = np.maximum(extent, np.maximum(part.max(), -part.min()))
    if np.isfinite(extent):
        return Near(result, np.full(frames, float(extent)))
    return Near(result, np.abs(result).max(axis=(0, 1)).astype(np.float64))


def frame_pieces(frames: int, size: int = FRAMES) -> Iterator[slice]:
    """The frames in pieces of at most `size`."""
    for start in range(0, frames, size):
        yield slice(start, min(start + size, frames))


def row_pieces(rows: int, frames: int) -> Iterator[slice]:
    """The rows in pieces that fit the cache with so many frames each."""
    size = max(64, CACHED // max(1, frames))
    for start in range(0, rows, size):
        yield slice(start, min(start + size, rows))


def cross(a: Floats, b: Floats) -> Floats:
    """Cross products of vectors (3, ...)."""
    return np.stack([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def dot(a: Floats, b: Floats) -> Floats:
    """Scalar products of vectors (3, ...)."""
    result = a[0] * b[0]
    result += a[1] * b[1]
    result += a[2] * b[2]
    return np.asarray(result)


def total(rows: Floats) -> Floats:
    """The sum of rows (n, frames) -> (frames,), added in an order that depends on n alone, so that a frame's sum is
    the same to the last bit whichever frames it comes with (a plain sum adds one frame in another order than
    many)."""
    if not len(rows):
        return np.zeros(rows.shape[1])
    while len(rows) > 1:
        half = len(rows) // 2
        sums = rows[:half] + rows[half : 2 * half]
        if len(rows) % 2:
            sums[0] += rows[-1]
        rows = sums
    return np.asarray(rows[0])
