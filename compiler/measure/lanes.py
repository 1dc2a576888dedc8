"""Blocks of frames turned round, frames last, so that one step of arithmetic serves many frames with few gathers."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from plica.mesh.model import Floats, Integers

# Frames worked on at once; triangles x frames, so that a few arrays of so many numbers stay in a core's cache.
FRAMES = 16
CACHED = 1 << 14


def lanes(positions: Floats, vertices: Integers) -> Floats:
    """Positions (frames, v, 3) of some vertices (n,), as (3, n, frames)."""
    return np.ascontiguousarray(positions[:, vertices].transpose(2, 1, 0))


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
    found = a[0] * b[0]
    found += a[1] * b[1]
    found += a[2] * b[2]
    return np.asarray(found)
