"""Photographs of Wren: several of him on one pale ground, in soft light, the moved skin tinted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from plica.picture.directions import Floats, Integers, smooth_step, unit
from plica.picture.raster import Camera, in_perspective, seen
from plica.specs.wren.light import KEY, Lit, Sky, lit
from plica.specs.wren.model import wren
from plica.specs.wren.moments import Moment
from plica.specs.wren.vectors import rotation_about

GROUND: Final = np.array([0.905, 0.895, 0.870])
"""The ground and all behind it, in linear light."""
SHADOW: Final = np.array([0.16, 0.13, 0.13])
"""What is left of the ground's colour where no light reaches."""
SLIGHT: Final = np.array([0.06, 0.42, 0.44])
STRONG: Final = np.array([0.95, 0.30, 0.06])
"""The tint of skin that the shapes move a little, and of skin that they move by `FULL` or more; linear
light.
"""
FULL: Final = 0.008
BRIGHTNESS: Final = 1.3
"""How much the fur's colours are brightened, so that they read well on the pale ground."""
_SAMPLES: Final = 2
"""Each pixel is the mean of this many samples across and down."""


@dataclass(frozen=True)
class LitFigure:
    """A character in his place: `positions`, `normals` and linear `colors` (n, 3), and how much of them is
    `gloss` (n,); the light that reaches him and his ground.
    """

    positions: Floats
    normals: Floats
    triangles: Integers
    colors: Floats
    gloss: Floats
    lit: Lit


def tint(moved: Floats) -> tuple[Floats, Floats]:
    """The tint (..., 3) of skin moved by so many metres, and how much of it covers the fur's own colour."""
    share = np.clip(moved / FULL, 0.0, 1.0)
    color = SLIGHT + (STRONG - SLIGHT) * smooth_step((share - 0.15) / 0.7)[..., None]
    return color, 0.88 * smooth_step((moved - 0.0006) / 0.0030)


def figure(moment: Moment, x: float, degrees: float, light: Sky) -> LitFigure:
    """Wren at a moment, turned about the vertical by `degrees` and standing at `x` metres to the side."""
    model = wren()
    turn = rotation_about((0.0, 1.0, 0.0), degrees).T
    positions = moment.positions @ turn + np.array([x, 0.0, 0.0])
    normals = moment.normals @ turn
    colors = model.colors[:, :3] / 255.0
    gloss = smooth_step((0.028 - colors.max(axis=1)) / 0.015)
    color, cover = tint(moment.moved)
    colors = colors + (color - colors) * cover[:, None]
    return LitFigure(
        positions, normals, model.triangles, colors, gloss, lit(positions, normals, model.triangles, light)
    )


def photograph(figures: Sequence[LitFigure], camera: Camera, width: int, height: int) -> Floats:
    """The figures as the camera sees them: linear light (height, width, 3)."""
    columns, rows = width * _SAMPLES, height * _SAMPLES
    picture = _ground(figures, camera, columns, rows)
    nearest = np.full((rows, columns), np.inf)
    for one in figures:
        points, distances = camera.projected(one.positions, columns, rows)
        view = seen(points, one.triangles, columns, rows)
        front = view.depth < nearest
        nearest[front] = view.depth[front]
        corners = one.triangles[view.triangle[front]]
        shares = in_perspective(view.weights(np.flatnonzero(view.covered))[front[view.covered]], distances[corners])
        picture[front] = _skin(one, camera, corners, shares)
    small: Floats = picture.reshape(height, _SAMPLES, width, _SAMPLES, 3).mean(axis=(1, 3))
    return small


def _ground(figures: Sequence[LitFigure], camera: Camera, width: int, height: int) -> Floats:
    rays = camera.rays(width, height)
    down = rays[:, :, 1] < -1e-6
    far = np.divide(-camera.eye[1], rays[:, :, 1], out=np.zeros((height, width)), where=down)
    share = np.ones((height, width))
    x, z = camera.eye[0] + far * rays[:, :, 0], camera.eye[2] + far * rays[:, :, 2]
    for one in figures:
        share *= np.where(down, one.lit.ground_at(x, z), 1.0)
    floor: Floats = GROUND * (SHADOW + (1.0 - SHADOW) * share[:, :, None])
    return floor


def _skin(one: LitFigure, camera: Camera, corners: Integers, shares: Floats) -> Floats:
    """The light (p, 3) that skin sends to the camera, given triangle corners (p, 3) and their shares (p,
    3).
    """

    def spread(values: Floats) -> Floats:
        result: Floats = np.einsum("pk,pk...->p...", shares, values[corners])
        return result

    normals, toward = unit(spread(one.normals)), unit(camera.eye - spread(one.positions))
    light, gloss = spread(one.lit.skin), spread(one.gloss)
    facing = np.clip(np.einsum("pk,pk->p", normals, toward), 0.0, 1.0)
    # Fur catches light at its outline; eyes and nose are wet and mirror the brightest part of the sky.
    sheen = 0.10 * (1.0 - facing) ** 3 * (1.0 - gloss)
    middle = unit(toward + KEY)
    glint = gloss * 1.4 * np.clip(np.einsum("pk,pk->p", normals, middle), 0.0, 1.0) ** 90
    wet = gloss * (0.02 + 0.10 * (1.0 - facing) ** 2) * (0.5 + 0.5 * normals[:, 1])
    result: Floats = (spread(one.colors) * BRIGHTNESS + sheen[:, None]) * light[:, None] + (glint + wet)[:, None]
    return result
