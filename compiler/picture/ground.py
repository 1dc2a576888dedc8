"""The ground that a figure stands on, ruled in squares, with the horizon behind it and the figure's shadow on it."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates

from plica.picture.directions import Floats, Singles, round_length
from plica.picture.raster import seen
from plica.picture.shade import PAPER, Solid

GROUND: Final = np.array([0.80, 0.80, 0.79], dtype=np.float32)
"""The ground near the figure, in linear light; far away it is `PAPER`."""
_LINE: Final = 0.80
"""What a line leaves of the light."""
_FAR: Final = 2.2
"""How many sizes of the figure away the ground has half turned into paper."""
_SQUARES: Final = 9.0
"""About so many squares lie along the figure's size."""
_CELLS: Final = 160
_DARKEST: Final = 0.55
_FADING: Final = 0.22
"""At this share of the figure's size above the ground skin casts little more than a third of its shadow."""


def square_for(size: float) -> float:
    """The side of the squares on the ground of a figure of a size, both in metres."""
    return round_length(size / _SQUARES)


class GroundPlane:
    """A level plane at a height (metres), for a figure of a size (metres) whose shadow lies on it."""

    def __init__(self, height: float, size: float, figure: Solid) -> None:
        self.height, self.size = height, size
        self.square = square_for(size)
        """The side of a square, metres."""
        self._middle = figure.positions[:, [0, 2]].mean(axis=0)
        self._corner = self._middle - size
        self._shadow = self._cast(figure)

    def light(self, eye: Floats, rays: Floats) -> Singles:
        """Linear light (h, w, 3) along rays (h, w, 3) from an eye (3,) metres, above the ground."""
        light = np.broadcast_to(PAPER, rays.shape).copy()
        above = np.float32(eye[1] - self.height)
        falling = np.flatnonzero((rays[..., 1] < 0.0).all(axis=1))
        if above <= 0.0 or not len(falling):
            return light
        rows = slice(int(falling[0]), int(falling[-1]) + 1)
        along_x, down, along_z = (rays[rows, :, axis].astype(np.float32) for axis in range(3))
        far = -above / down
        ahead, aside = along_x * far, along_z * far
        x, z = ahead + np.float32(eye[0]), aside + np.float32(eye[2])
        step = np.float32(np.linalg.norm(rays[0, 1] - rays[0, 0]) if rays.shape[1] > 1 else 1e-3)
        # What one pixel covers of the ground: more along the view, where it is looked along.
        covers = far * step * np.sqrt(np.sqrt(1.0 + (ahead * ahead + aside * aside) / above**2))
        grey = (1.0 - np.float32(1.0 - _LINE) * self._ruled(x, z, covers)) * (1.0 - self._shaded(x, z))
        off = (x - np.float32(self._middle[0])) ** 2 + (z - np.float32(self._middle[1])) ** 2
        near = np.exp(off * np.float32(-np.log(2.0) / (_FAR * self.size) ** 2))
        for part in range(3):
            light[rows, :, part] += near * (GROUND[part] * grey - PAPER[part])
        return light

    def _ruled(self, x: Singles, z: Singles, covers: Singles) -> Singles:
        """How much of a line (h, w) a pixel of the ground sees, 0 to 1; none where lines are too dense."""
        side = np.float32(self.square)
        away = [np.abs((places / side + np.float32(0.5)) % np.float32(1.0) - np.float32(0.5)) for places in (x, z)]
        most = np.clip(np.float32(1.2) - np.minimum(*away) * side / covers, 0.0, 1.0)
        return np.asarray(most * np.clip(np.float32(1.0) - np.float32(3.0) * covers / side, 0.0, 1.0))

    def _shaded(self, x: Singles, z: Singles) -> Singles:
        """How much of the light (h, w) the figure takes away."""
        cells = [
            (places - np.float32(corner)) * np.float32(_CELLS / (2.0 * self.size)) - np.float32(0.5)
            for places, corner in zip((z, x), self._corner[::-1], strict=True)
        ]
        return np.asarray(map_coordinates(self._shadow, cells, output=np.float32, order=1, mode="constant"))

    def _cast(self, figure: Solid) -> Floats:
        """The shadow of light from all of the sky, roughly: what is seen from below, fading with its height."""
        points = np.empty_like(figure.positions)
        points[:, :2] = (figure.positions[:, [0, 2]] - self._corner) / (2.0 * self.size) * _CELLS
        points[:, 2] = np.maximum(figure.positions[:, 1] - self.height, 0.0)
        view = seen(points, figure.triangles, _CELLS, _CELLS)
        dark = np.where(view.covered, np.exp(-np.where(view.covered, view.depth, 0.0) / (_FADING * self.size)), 0.0)
        return np.asarray(_DARKEST * np.maximum(gaussian_filter(dark, 2.0), 0.8 * gaussian_filter(dark, 6.0)))
