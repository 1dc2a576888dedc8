"""Surfaces with closed forms: grids wrapped round, as bare arrays."""

from __future__ import annotations

import numpy as np

from plica.mesh.arrays import Floats, Integers


def wrapped(rows: int, around: int, *, closed: bool = False) -> Integers:
    """Triangles between `rows` rings of `around` points each; `closed`: the last ring joins the first."""
    number = np.arange(rows * around).reshape(rows, around)
    upper = np.roll(number, -1, axis=0) if closed else number[1:]
    lower = number if closed else number[:-1]
    a, b, c, d = lower, np.roll(lower, -1, axis=1), np.roll(upper, -1, axis=1), upper
    return np.concatenate([np.stack([a, d, c], -1).reshape(-1, 3), np.stack([a, c, b], -1).reshape(-1, 3)])


def tube(rows: int, around: int, radius: float = 1.0, half: float = 2.0) -> tuple[Floats, Integers]:
    """An open tube along y from -half to half; triangles face outward."""
    height, turn = np.meshgrid(np.linspace(-half, half, rows), _turns(around), indexing="ij")
    places = np.stack([radius * np.cos(turn), height, -radius * np.sin(turn)], axis=-1)
    return places.reshape(-1, 3), wrapped(rows, around)[:, ::-1]


def torus(rows: int, around: int, large: float = 2.0, small: float = 0.5) -> tuple[Floats, Integers]:
    """A torus round y."""
    way, turn = np.meshgrid(_turns(rows), _turns(around), indexing="ij")
    out = large + small * np.cos(turn)
    places = np.stack([out * np.cos(way), small * np.sin(turn), -out * np.sin(way)], axis=-1)
    return places.reshape(-1, 3), wrapped(rows, around, closed=True)


def sphere(rows: int, around: int, radius: float = 1.0) -> tuple[Floats, Integers]:
    """A sphere with small open caps about its poles."""
    latitude, turn = np.meshgrid(np.linspace(-1.57, 1.57, rows), _turns(around), indexing="ij")
    flat = np.cos(latitude)
    places = radius * np.stack([flat * np.cos(turn), np.sin(latitude), -flat * np.sin(turn)], axis=-1)
    return places.reshape(-1, 3), wrapped(rows, around)[:, ::-1]


def _turns(count: int) -> Floats:
    return np.arange(count) * (2.0 * np.pi / count)
