"""A small z-buffer rasteriser: which triangle each pixel of a picture sees.

Pixel (row, column) is sampled at its middle, column + 0.5 and row + 0.5; row 0 is at the top.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats, Integers, across, unit

_TOGETHER: Final = 1 << 20
"""Pixels of bounding boxes that are tested at once, to bound the memory."""


class Window(NamedTuple):
    """A part of a picture: its first column and row, and how many of them there are."""

    left: int
    top: int
    width: int
    height: int


@dataclass(frozen=True)
class Seen:
    """What the pixels see: the nearest triangle, -1 for none (h, w), its depth (h, w), infinite where nothing is, and
    for the pixels that are covered, row by row, its weights there (p, 3).
    """

    triangle: Integers
    depth: Floats
    weights: Floats

    @property
    def covered(self) -> NDArray[np.bool_]:
        """Pixels that see a triangle, (h, w)."""
        return np.asarray(self.triangle >= 0)


def seen(points: Floats, triangles: Integers, width: int, height: int) -> Seen:
    """Rasterise triangles (m, 3) over points (n, 3): column and row in pixels, and a depth.

    The depth must be linear across the picture; the smaller is the nearer, and of equals the first triangle. Weights
    are barycentric in the picture; a triangle without area covers nothing.
    """
    left, low, extent = _boxes(points, triangles, width, height)
    planes = _Planes.of(points[triangles[left]], low)
    nearest = _Nearest(width, height)
    # Triangles of about one size are tested together, each over a block of pixels that its box fits into.
    sizes = np.frexp(extent - 0.5)[1]
    kinds = sizes[:, 0] * 64 + sizes[:, 1]
    for kind in np.unique(kinds).tolist():
        across, down = 1 << (kind // 64), 1 << (kind % 64)
        alike = np.flatnonzero(kinds == kind)
        step = max(1, _TOGETHER // (across * down))
        for start in range(0, len(alike), step):
            part = alike[start : start + step]
            nearest.add(part, planes.at(part), low[part], extent[part], (across, down))
    covered = np.flatnonzero(nearest.triangle >= 0)
    number = nearest.triangle[covered]
    rows, columns = np.divmod(covered, width)
    v, w, _ = planes.at(number).values(columns - low[number, 0], rows - low[number, 1])
    nearest.triangle[covered] = left[number]
    shape = (height, width)
    return Seen(nearest.triangle.reshape(shape), nearest.depth.reshape(shape), np.stack([1.0 - v - w, v, w], axis=1))


def _boxes(points: Floats, triangles: Integers, width: int, height: int) -> tuple[Integers, Integers, Integers]:
    """Those of triangles (m, 3) whose boxes hold the middle of a pixel (n,), the first column and row of each box, and
    how many of them (n, 2).
    """
    first, count = [], []
    for axis, most in enumerate((width, height)):
        a, b, c = (np.ascontiguousarray(points[:, axis] - 0.5)[triangles[:, corner]] for corner in range(3))
        low = np.maximum(np.ceil(np.minimum(np.minimum(a, b), c)), 0.0)
        high = np.minimum(np.floor(np.maximum(np.maximum(a, b), c)), most - 1.0)
        first.append(low)
        count.append(high - low + 1.0)
    left = np.flatnonzero((count[0] >= 1.0) & (count[1] >= 1.0))
    low, extent = (np.stack([one[left] for one in each], axis=1).astype(np.int64) for each in (first, count))
    return left, low, extent


class _Planes(NamedTuple):
    """Weights of the second and the third corner and the depth of triangles (n, 3): at the first pixel of each box, and
    what a step to the next column and to the next row adds.
    """

    first: Floats
    across: Floats
    down: Floats

    @classmethod
    def of(cls, corners: Floats, low: Integers) -> _Planes:
        """Of triangles with corners (n, 3, 3) and boxes that start at pixels (n, 2); no number without an area."""
        a = corners[:, 0]
        one, other = (corners[:, corner] - a for corner in (1, 2))
        area = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
        area = np.where(area == 0.0, np.nan, area)
        across = np.stack([other[:, 1] / area, -one[:, 1] / area], axis=1)
        down = np.stack([-other[:, 0] / area, one[:, 0] / area], axis=1)
        start = low + 0.5 - a[:, :2]
        first = across * start[:, :1] + down * start[:, 1:]
        rises = np.stack([one[:, 2], other[:, 2]], axis=1)
        first, across, down = (
            np.column_stack([values, (values * rises).sum(axis=1)]) for values in (first, across, down)
        )
        first[:, 2] += a[:, 2]
        return cls(first, across, down)

    def at(self, rows: Integers) -> _Planes:
        """Of some of the triangles."""
        return _Planes(self.first[rows], self.across[rows], self.down[rows])

    def values(self, column: Integers | Floats, row: Integers | Floats) -> tuple[Floats, Floats, Floats]:
        """Both weights and the depth of the triangles, at as many columns and rows, or at all of (1, h, w) for each."""
        shape = (-1, *(1,) * (column.ndim - 1))
        v, w, depth = (
            first.reshape(shape) + across.reshape(shape) * column + down.reshape(shape) * row
            for first, across, down in zip(self.first.T, self.across.T, self.down.T, strict=True)
        )
        return v, w, depth


class _Nearest:
    """The nearest depth (p,) that each pixel has seen, and the triangle it belongs to, -1 for none."""

    def __init__(self, width: int, height: int) -> None:
        self._width = width
        self.depth = np.full(width * height, np.inf)
        self.triangle = np.full(width * height, -1, dtype=np.int64)

    def add(self, numbers: Integers, planes: _Planes, low: Integers, extent: Integers, block: tuple[int, int]) -> None:
        """Triangles by their numbers (n,), over boxes of an extent (n, 2) that lie within blocks of pixels."""
        column, row = np.arange(float(block[0]))[None, None], np.arange(float(block[1]))[None, :, None]
        v, w, depth = planes.values(column, row)
        inside = (v >= 0.0) & (w >= 0.0) & (v + w <= 1.0)
        inside &= (column < extent[:, 0, None, None]) & (row < extent[:, 1, None, None])
        found, down, across = np.nonzero(inside)
        depth = depth[inside]
        pixel = (low[found, 1] + down) * self._width + low[found, 0] + across
        before = self.depth[pixel]
        np.minimum.at(self.depth, pixel, depth)
        now = self.depth[pixel]
        self.triangle[pixel[now < before]] = np.iinfo(np.int64).max
        best = depth == now
        np.minimum.at(self.triangle, pixel[best], numbers[found[best]])


@dataclass(frozen=True)
class Camera:
    """A pinhole camera with square pixels, upright; `field` is its vertical angle of view in radians, `eye`
    and `target` (3,) are in metres.
    """

    eye: Floats
    target: Floats
    field: float

    @property
    def axes(self) -> Floats:
        """To the right, up, and back towards the viewer: the rows of a rotation, (3, 3)."""
        back = unit(self.eye - self.target)
        up = across((0.0, 1.0, 0.0), back)
        return np.stack([np.cross(up, back), up, back])

    def projected(self, points: Floats, width: int, height: int) -> tuple[Floats, Floats]:
        """Points (n, 3) as `seen` takes them, and their distances (n,) along the line of sight.

        The depth is -1 / distance: that, unlike the distance, is linear across a perspective picture.
        """
        local = (points - self.eye) @ self.axes.T
        distance = -local[:, 2]
        scale = height / (2.0 * np.tan(self.field / 2.0)) / distance
        column, row = width / 2.0 + local[:, 0] * scale, height / 2.0 - local[:, 1] * scale
        return np.stack([column, row, -1.0 / distance], axis=1), distance

    def rays(self, width: int, height: int, window: Window | None = None) -> Floats:
        """The directions (h, w, 3), not of length 1, in which the pixels look, of all or of a part of the picture."""
        left, top, columns, rows = window or (0, 0, width, height)
        scale = 2.0 * np.tan(self.field / 2.0) / height
        x = (np.arange(left, left + columns) + 0.5 - width / 2.0) * scale
        y = (height / 2.0 - np.arange(top, top + rows) - 0.5) * scale
        right, up, back = self.axes
        directions: Floats = x[None, :, None] * right + y[:, None, None] * up - back
        return directions


def in_perspective(weights: Floats, distances: Floats) -> Floats:
    """Weights over the triangle's surface from weights in the picture, both (p, 3), given its corners'
    distances.
    """
    shares = weights / distances
    surface: Floats = shares / shares.sum(axis=1, keepdims=True)
    return surface
