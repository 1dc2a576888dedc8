"""A small z-buffer rasteriser: which triangle each pixel of a picture sees.

Pixel (row, column) is sampled at its middle, column + 0.5 and row + 0.5; row 0 is at the top.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.demo.vectors import Floats, Integers, across, unit

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
    low = np.maximum(np.ceil(corners[:, :, :2].min(axis=1) - 0.5), 0).astype(np.int64)
    high = np.minimum(np.floor(corners[:, :, :2].max(axis=1) - 0.5), (width - 1, height - 1)).astype(np.int64)
    extent = np.maximum(high - low + 1, 0)
    counts = extent[:, 0] * extent[:, 1]
    nonempty = np.flatnonzero(counts)
    parts = np.cumsum(counts[nonempty]) // _TOGETHER
    for part in np.unique(parts):
        chosen = nonempty[parts == part]
        owner = np.repeat(chosen, counts[chosen])
        within = np.arange(len(owner)) - np.repeat(np.cumsum(counts[chosen]) - counts[chosen], counts[chosen])
        column = low[owner, 0] + within % extent[owner, 0]
        row = low[owner, 1] + within // extent[owner, 0]
        shares = _shares(corners[owner], column + 0.5, row + 0.5)
        inside = np.flatnonzero((shares >= 0.0).all(axis=1))
        owner, shares = owner[inside], shares[inside]
        pixel = row[inside] * width + column[inside]
        far = np.einsum("nk,nk->n", shares, corners[owner, :, 2])
        order = np.lexsort((far, pixel))
        first = order[np.concatenate([[True], np.diff(pixel[order]) > 0])] if len(order) else order
        first = first[far[first] < depth[pixel[first]]]
        place = pixel[first]
        triangle[place], weights[place], depth[place] = owner[first], shares[first], far[first]
    shape = (height, width)
    return Seen(triangle.reshape(shape), weights.reshape(*shape, 3), depth.reshape(shape))


def _shares(corners: Floats, x: Floats, y: Floats) -> Floats:
    """Barycentric weights (n, 3) of points in triangles (n, 3, 3); none of them positive in a triangle
    without area.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    safe = np.where(area == 0.0, 1.0, area)
    v = ((x - a[:, 0]) * (c[:, 1] - a[:, 1]) - (y - a[:, 1]) * (c[:, 0] - a[:, 0])) / safe
    w = ((b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (b[:, 1] - a[:, 1]) * (x - a[:, 0])) / safe
    return np.where(area[:, None] == 0.0, -1.0, np.stack([1.0 - v - w, v, w], axis=1))


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
