"""Soft light from a bright sky: how much of it reaches a character's skin and the ground around him.

The sky is sampled in many directions; from each, one small depth picture tells what lies in shadow.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from plica.picture.directions import Floats, Integers, across, smooth_step, unit
from plica.picture.raster import seen

KEY: Final = unit((-0.55, 0.75, 0.75))
"""Where the sky is brightest."""
BACK: Final = unit((0.8, 0.45, -0.75))
"""A second bright place behind the character, which draws his outline."""
BOUNCE: Final = 0.40
"""What the ground sends up to skin that faces straight down."""
DEPTH_PIXELS: Final = 300
BIAS: Final = 0.006
"""Skin nearer than this to what shadows it, in metres, counts as lit."""
GRID: Final = 0.012
"""About how far apart, in metres, the ground's light is computed."""
_GOLDEN_ANGLE: Final = np.pi * (3.0 - np.sqrt(5.0))


@dataclass(frozen=True)
class Sky:
    """Directions towards the light (k, 3) and how much comes from each (k,)."""

    directions: Floats
    amounts: Floats


def sky(count: int) -> Sky:
    """`count` directions spread evenly over the upper half by the golden angle; the brightest lie around
    `KEY`.

    The amounts are scaled so that open level ground receives 1.
    """
    number = np.arange(count) + 0.5
    height, turn = number / count, number * _GOLDEN_ANGLE
    around = np.sqrt(1.0 - height * height)
    directions = np.stack([around * np.cos(turn), height, around * np.sin(turn)], axis=1)
    amounts = 0.30 + 2.2 * np.exp(7.0 * (directions @ KEY - 1.0)) + 1.3 * np.exp(9.0 * (directions @ BACK - 1.0))
    return Sky(directions, amounts / np.sum(amounts * height))


@dataclass(frozen=True)
class Lit:
    """What reaches each vertex (n,), and the share of the sky's light that reaches the ground at the nodes of
    a grid: (rows, columns) of x and z, evenly spaced between the first and last node, 1 along the border.
    """

    skin: Floats
    ground: Floats
    x: tuple[float, float]
    z: tuple[float, float]

    def ground_at(self, x: Floats, z: Floats) -> Floats:
        """The ground's share at places, interpolated between the nodes; 1 beyond the grid."""
        rows, columns = self.ground.shape
        column = np.clip((x - self.x[0]) / (self.x[1] - self.x[0]), 0.0, 1.0) * (columns - 1)
        row = np.clip((z - self.z[0]) / (self.z[1] - self.z[0]), 0.0, 1.0) * (rows - 1)
        left = np.minimum(column.astype(np.int64), columns - 2)
        top = np.minimum(row.astype(np.int64), rows - 2)
        right, down = column - left, row - top
        above = self.ground[top, left] * (1.0 - right) + self.ground[top, left + 1] * right
        below = self.ground[top + 1, left] * (1.0 - right) + self.ground[top + 1, left + 1] * right
        return np.asarray(above * (1.0 - down) + below * down)


def lit(positions: Floats, normals: Floats, triangles: Integers, light: Sky) -> Lit:
    """Light on a closed skin (n, 3) that stands on the ground y = 0, alone under the sky."""
    margin = 0.55
    (x_low, _, z_low), (x_high, _, z_high) = positions.min(axis=0) - margin, positions.max(axis=0) + margin
    columns, rows = int((x_high - x_low) / GRID), int((z_high - z_low) / GRID)
    x, z = np.meshgrid(np.linspace(x_low, x_high, columns), np.linspace(z_low, z_high, rows))
    nodes = np.stack([x.ravel(), np.zeros(x.size), z.ravel()], axis=1)
    skin = BOUNCE * (0.5 - 0.5 * normals[:, 1])
    ground = np.zeros(len(nodes))
    off_skin = positions + 0.5 * BIAS * normals
    for direction, amount in zip(light.directions, light.amounts, strict=True):
        free = _free(np.concatenate([off_skin, nodes]), positions, triangles, direction)
        skin += amount * np.maximum(normals @ direction, 0.0) * free[: len(skin)]
        ground += amount * direction[1] * free[len(skin) :]
    # The grid ends where next to nothing is shadowed; the last of it is faded out.
    edge = np.minimum(np.minimum(x - x_low, x_high - x), np.minimum(z - z_low, z_high - z)).ravel()
    ground = 1.0 + (ground - 1.0) * smooth_step(edge / margin)
    return Lit(skin, ground.reshape(rows, columns), (x_low, x_high), (z_low, z_high))


def _free(points: Floats, positions: Floats, triangles: Integers, direction: Floats) -> Floats:
    """Whether nothing lies between points (p, 3) and the light, softly from 0 to 1, (p,)."""
    right = across((0.0, 0.0, 1.0), direction)
    axes = np.stack([right, np.cross(direction, right), -direction])
    own, other = positions @ axes.T, points @ axes.T
    low, high = own[:, :2].min(axis=0), own[:, :2].max(axis=0)
    scale = (DEPTH_PIXELS - 4) / float(np.max(high - low))
    own[:, :2] = (own[:, :2] - low) * scale + 2.0
    depth = seen(own, triangles, DEPTH_PIXELS, DEPTH_PIXELS).depth
    place = np.clip((other[:, :2] - low) * scale + 2.0, 0, DEPTH_PIXELS - 1)
    column, row = place.astype(np.int64).T
    return 1.0 - smooth_step((other[:, 2] - depth[row, column]) / BIAS - 0.5)
