"""A small z-buffer rasteriser: which triangle each pixel of a picture sees.

Pixel (row, column) is sampled at its middle, column + 0.5 and row + 0.5; row 0 is at the top.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats, Integers, Precision, Singles, across, unit

_TOGETHER: Final = 1 << 20
"""Pixels of bounding boxes that are tested at once, to bound the memory."""


_EDGE: Final = 1e-5
"""So far beyond its edge a triangle covers pixels: single precision must leave no gap between two that share it."""


class Window(NamedTuple):
    """A part of a picture: its first column and row, and how many of them there are."""

    left: int
    top: int
    width: int
    height: int


@dataclass(frozen=True, eq=False)
class Seen:
    """What the pixels see: the depth (h, w) of the nearest triangle, infinite where nothing is, and which it is.

    number (h, w): which of the triangles that were looked at, -1 for none; names: what these are called (n + 1), the
    last for none. All pixels that are asked for are numbered row by row.
    """

    depth: Singles
    number: Integers
    names: Integers
    _planes: _Planes
    _rows: Integers
    _low: Integers

    @property
    def covered(self) -> NDArray[np.bool_]:
        """Pixels that see a triangle, (h, w)."""
        return np.asarray(self.number >= 0)

    @cached_property
    def triangle(self) -> Integers:
        """The triangles that pixels see (h, w), -1 for none."""
        return self.names[self.number]

    def triangles(self, pixels: Integers) -> Integers:
        """The triangles that pixels see (p,), -1 for none."""
        return self.names[self.number.reshape(-1)[pixels]]

    def weights(self, pixels: Integers) -> Floats:
        """Barycentric weights (p, 3) in what covered pixels see (p,)."""
        row = self._rows[self.number.reshape(-1)[pixels]]
        low = self._low[row]
        lines, columns = np.divmod(pixels, self.number.shape[1])
        column, line = columns - low[:, 0], lines - low[:, 1]
        first, across, down = (values[row] for values in self._planes)
        v, w = (first[:, part] + across[:, part] * column + down[:, part] * line for part in range(2))
        return np.stack([1.0 - v - w, v, w], axis=1)

    def renamed(self, names: Integers) -> Seen:
        """The same with other names (m,) for the triangles, whose names have been their numbers from 0."""
        return replace(self, names=np.append(names, -1)[self.names])


def seen(points: Floats, triangles: Integers, width: int, height: int) -> Seen:
    """Rasterise triangles (m, 3) over points (n, 3): column and row in pixels, and a depth.

    The depth must be linear across the picture; the smaller is the nearer, and of equals the first triangle. Weights
    are barycentric in the picture; a triangle without area covers nothing.
    """
    left, low, extent = _boxes(points, triangles, width, height)
    # Triangles of about one size are tested together, each over a block of pixels that its box fits into.
    sizes = np.frexp(extent - 0.5)[1]
    kinds = sizes[:, 0] * 64 + sizes[:, 1]
    order = np.argsort(kinds, kind="stable")
    low, extent, kinds = low[order], extent[order], kinds[order]
    planes = _Planes.of(points[triangles[left[order]]], low)
    nearest = _Nearest(width, height, low, extent, order)
    starts = [*np.flatnonzero(np.diff(kinds, prepend=-1)).tolist(), len(kinds)]
    for first, last in pairwise(starts):
        across, down = 1 << int(kinds[first] // 64), 1 << int(kinds[first] % 64)
        step = max(1, _TOGETHER // (across * down))
        for start in range(first, last, step):
            nearest.add(slice(start, min(start + step, last)), planes, (across, down))
    rows = np.full(len(order), -1)
    rows[order] = np.arange(len(order))
    shape = (height, width)
    return Seen(nearest.depth.reshape(shape), nearest.number.reshape(shape), np.append(left, -1), planes, rows, low)


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

    def over(self, part: slice, block: tuple[int, int]) -> tuple[Singles, Singles, Singles]:
        """Both weights and the depth of some of the triangles over blocks of so many columns and rows, (n, h, w)."""
        columns, rows = (np.arange(size, dtype=np.float32) for size in block)
        v, w, depth = (
            (first[:, None] + down[:, None] * rows)[:, :, None] + (across[:, None] * columns)[:, None]
            for first, across, down in zip(*(values[part].astype(np.float32).T for values in self), strict=True)
        )
        return v, w, depth


class _Nearest:
    """The nearest depth (p,) that each pixel has seen, and the number of the triangle it belongs to, -1 for none.

    low, extent (n, 2): the triangles' boxes; numbers (n,): of equal depths the triangle of the lowest is seen.
    """

    def __init__(self, width: int, height: int, low: Integers, extent: Integers, numbers: Integers) -> None:
        self._size, self._low, self._extent, self._numbers = (width, height), low, extent, numbers
        self._base = low[:, 1] * width + low[:, 0]
        self.depth = np.full(width * height, np.inf, dtype=np.float32)
        self.number = np.full(width * height, -1, dtype=np.int64)

    def add(self, part: slice, planes: _Planes, block: tuple[int, int]) -> None:
        """Some of the triangles, whose boxes lie within blocks of pixels."""
        v, w, depth = planes.over(part, block)
        inside = (v >= -_EDGE) & (w >= -_EDGE)
        v += w
        inside &= v <= 1.0 + _EDGE
        columns, rows = (np.arange(size) for size in block)
        if (self._low[part] + block > self._size).any():
            extent = self._extent[part]
            inside &= (columns < extent[:, :1])[:, None] & (rows < extent[:, 1:])[:, :, None]
        pixel = (self._base[part, None, None] + (rows[:, None] * self._size[0] + columns))[inside]
        depth = depth[inside]
        before = self.depth[pixel]
        np.minimum.at(self.depth, pixel, depth)
        now = self.depth[pixel]
        self.number[pixel[now < before]] = np.iinfo(np.int64).max
        best = depth == now
        number = np.repeat(self._numbers[part], np.count_nonzero(inside, axis=(1, 2)))
        np.minimum.at(self.number, pixel[best], number[best])


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

    def rays(self, width: int, height: int) -> Floats:
        """The directions (h, w, 3), not of length 1, in which the pixels look."""
        x, y = self.slopes(np.arange(height), np.arange(width), width, height)
        right, up, back = self.axes
        directions: Floats = (y[:, None] * up - back)[:, None] + x[:, None] * right
        return directions

    def slopes(self, rows: Integers, columns: Integers, width: int, height: int) -> tuple[Floats, Floats]:
        """How far columns of pixels look to the right, and rows up, for each metre ahead."""
        step = 2.0 * np.tan(self.field / 2.0) / height
        return (columns + 0.5 - width / 2.0) * step, (height / 2.0 - rows - 0.5) * step


def spread(shares: Singles, values: Singles, corners: Integers) -> Singles:
    """Vertices' values (v, k) at places with these shares (p, 3) of their corners (p, 3)."""
    a, b, c = (np.take(values, corners[:, corner], axis=0) * shares[:, corner : corner + 1] for corner in range(3))
    a += b
    a += c
    return a


def in_perspective(weights: Precision, distances: Precision) -> Precision:
    """Weights over the triangle's surface from weights in the picture, both (p, 3), given its corners'
    distances.
    """
    shares = weights / distances
    return np.asarray(shares / (shares[:, 0] + shares[:, 1] + shares[:, 2])[:, None])
