"""The ground that a figure stands on, ruled in squares, with the horizon behind it and the figure's shadow on it."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates

from plica.picture.directions import Floats, round_length
from plica.picture.raster import seen
from plica.picture.shade import PAPER, Solid

GROUND: Final = np.array([0.80, 0.80, 0.79])
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


class GroundPlane:
    """A level plane at a height (metres), for a figure of a size (metres) whose shadow lies on it."""

    def __init__(self, height: float, size: float, figure: Solid) -> None:
        self.height, self.size = height, size
        self.square = round_length(size / _SQUARES)
        """The side of a square, metres."""
        self._middle = figure.positions[:, [0, 2]].mean(axis=0)
        self._corner = self._middle - size
        self._shadow = self._cast(figure)

    def light(self, eye: Floats, rays: Floats) -> Floats:
        """Linear light (h, w, 3) along rays (h, w, 3) from an eye (3,) metres, above the ground."""
        picture = np.broadcast_to(PAPER, rays.shape).copy()
        above = float(eye[1]) - self.height
        falling = rays[..., 1] < 0.0
        if above <= 0.0 or not falling.any():
            return picture
        ways = rays[falling]
        far = above / -ways[:, 1]
        places = eye[[0, 2]] + ways[:, [0, 2]] * far[:, None]
        step = float(np.linalg.norm(rays[0, 1] - rays[0, 0])) if rays.shape[1] > 1 else 1e-3
        # What one pixel covers of the ground: more along the view, where it is looked along.
        covers = far * step * np.sqrt(1.0 + (ways[:, [0, 2]] ** 2).sum(axis=1) / ways[:, 1] ** 2) ** 0.5
        light = (1.0 - (1.0 - _LINE) * self._ruled(places, covers)) * (1.0 - self._shaded(places))
        near = np.exp(-(((places - self._middle) ** 2).sum(axis=1) / (_FAR * self.size) ** 2) * np.log(2.0))[:, None]
        picture[falling] = PAPER + (GROUND * light[:, None] - PAPER) * near
        return picture

    def _ruled(self, places: Floats, covers: Floats) -> Floats:
        """How much of a line (n,) a pixel of the ground sees, 0 to 1; none where lines are too dense."""
        from_line = np.abs((places / self.square + 0.5) % 1.0 - 0.5) * self.square
        seen_of_line = np.clip(1.2 - from_line / covers[:, None], 0.0, 1.0).max(axis=1)
        return np.asarray(seen_of_line * np.clip(1.0 - 3.0 * covers / self.square, 0.0, 1.0))

    def _shaded(self, places: Floats) -> Floats:
        """How much of the light (n,) the figure takes away."""
        cells = (places - self._corner) / (2.0 * self.size) * _CELLS - 0.5
        return np.asarray(map_coordinates(self._shadow, cells.T[::-1], order=1, mode="constant"))

    def _cast(self, figure: Solid) -> Floats:
        """The shadow of light from all of the sky, roughly: what is seen from below, fading with its height."""
        points = np.empty_like(figure.positions)
        points[:, :2] = (figure.positions[:, [0, 2]] - self._corner) / (2.0 * self.size) * _CELLS
        points[:, 2] = np.maximum(figure.positions[:, 1] - self.height, 0.0)
        view = seen(points, figure.triangles, _CELLS, _CELLS)
        dark = np.where(view.covered, np.exp(-np.where(view.covered, view.depth, 0.0) / (_FADING * self.size)), 0.0)
        return np.asarray(_DARKEST * np.maximum(gaussian_filter(dark, 2.0), 0.8 * gaussian_filter(dark, 6.0)))
