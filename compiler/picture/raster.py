"""A small z-buffer rasteriser: which triangle each pixel of a picture sees.

Pixel (row, column) is sampled at its middle, column + 0.5 and row + 0.5; row 0 is at the top.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats, Integers, across, unit

_TOGETHER: Final = 1 << 20
"""Pixels of bounding boxes that are tested at once, to bound the memory."""


@dataclass(frozen=True)
class Seen:
    """What the pixels see: the nearest triangle, -1 for none (h, w), its weights there (h, w, 3), its depth
    (h, w), infinite where nothing is.
    """

    triangle: Integers
    weights: Floats
    depth: Floats

    @property
    def covered(self) -> NDArray[np.bool_]:
        """Pixels that see a triangle, (h, w)."""
        return np.asarray(self.triangle >= 0)


def seen(points: Floats, triangles: Integers, width: int, height: int) -> Seen:
    """Rasterise triangles (m, 3) over points (n, 3): column and row in pixels, and a depth.

    The depth must be linear across the picture; the smaller is the nearer. Weights are barycentric in the
    picture.
    """
    triangle = np.full(height * width, -1, dtype=np.int64)
    weights = np.zeros((height * width, 3))
    depth = np.full(height * width, np.inf)
    corners = points[triangles]
    a, b, c = (corners[:, corner, :2] for corner in range(3))
    low = np.maximum(np.ceil(np.minimum(np.minimum(a, b), c) - 0.5), 0).astype(np.int64)
    high = np.floor(np.maximum(np.maximum(a, b), c) - 0.5)
    high = np.minimum(high, (width - 1, height - 1)).astype(np.int64)
    extent = np.maximum(high - low + 1, 0)
    counts = extent[:, 0] * extent[:, 1]
    nonempty = np.flatnonzero(counts)
    parts = np.cumsum(counts[nonempty]) // _TOGETHER
    for part in np.unique(parts):
        chosen = nonempty[parts == part]
        owner = np.repeat(chosen, counts[chosen])
        column, row = _boxes(low[chosen], extent[chosen])
        inside, shares = _inside(corners[chosen], counts[chosen], column, row)
        owner = owner[inside]
        pixel = row[inside] * width + column[inside]
        far = np.einsum("nk,nk->n", shares, corners[owner, :, 2])
        order = np.lexsort((far, pixel))
        first = order[np.concatenate([[True], np.diff(pixel[order]) > 0])] if len(order) else order
        first = first[far[first] < depth[pixel[first]]]
        place = pixel[first]
        triangle[place], weights[place], depth[place] = owner[first], shares[first], far[first]
    shape = (height, width)
    return Seen(triangle.reshape(shape), weights.reshape(*shape, 3), depth.reshape(shape))


def _boxes(low: Integers, extent: Integers) -> tuple[Integers, Integers]:
    """The columns and rows of all pixels of boxes with a least corner and an extent, (n, 2) each, box after box."""
    widths = np.repeat(extent[:, 0], extent[:, 1])
    rows = _counted(extent[:, 1]) + np.repeat(low[:, 1], extent[:, 1])
    columns = _counted(widths) + np.repeat(np.repeat(low[:, 0], extent[:, 1]), widths)
    return columns, np.repeat(rows, widths)


def _counted(counts: Integers) -> Integers:
    """0, 1, ... below each of the counts, one after another."""
    return np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)


def _inside(corners: Floats, counts: Integers, column: Integers, row: Integers) -> tuple[Integers, Floats]:
    """Which of the pixels have their middles in their triangles, and their barycentric weights (k, 3).

    Triangles (n, 3, 3), of which the first has the first counts[0] pixels, and so on; none lies in a triangle without
    area.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    first, second = b - a, c - a
    area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    safe = np.where(area == 0.0, np.nan, area)
    x = column - np.repeat(a[:, 0] - 0.5, counts)
    y = row - np.repeat(a[:, 1] - 0.5, counts)
    v = x * np.repeat(second[:, 1] / safe, counts) - y * np.repeat(second[:, 0] / safe, counts)
    w = y * np.repeat(first[:, 0] / safe, counts) - x * np.repeat(first[:, 1] / safe, counts)
    u = 1.0 - v - w
    inside = np.flatnonzero((u >= 0.0) & (v >= 0.0) & (w >= 0.0))
    return inside, np.stack([u[inside], v[inside], w[inside]], axis=1)


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
        scale = 2.0 * np.tan(self.field / 2.0) / height
        x = (np.arange(width) + 0.5 - width / 2.0) * scale
        y = (height / 2.0 - np.arange(height) - 0.5) * scale
        local = np.stack([*np.meshgrid(x, y), np.full((height, width), -1.0)], axis=2)
        directions: Floats = local @ self.axes
        return directions


def in_perspective(weights: Floats, distances: Floats) -> Floats:
    """Weights over the triangle's surface from weights in the picture, both (p, 3), given its corners'
    distances.
    """
    shares = weights / distances
    surface: Floats = shares / shares.sum(axis=1, keepdims=True)
    return surface
