"""The trunk of the control cage: tail, torso, neck and head as one tube, with openings for limbs, eyes and
ears.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from plica.picture.directions import Floats, unit
from plica.specs.wren import otter
from plica.specs.wren.builder import CageBuilder, arcs_of, shrinkage
from plica.specs.wren.weights import trunk_blends

COLUMNS: Final = 8
"""Quads from the back's middle line to the belly's, on one side."""


def _trunk_ring(ring: otter.BodyRing) -> Floats:
    angle = np.radians(ring.axis_degrees)
    up = np.array([0.0, np.cos(angle), -np.sin(angle)])
    around = np.pi * np.arange(COLUMNS + 1) / COLUMNS
    reach = np.where(np.cos(around) > 0.0, ring.dorsal, ring.ventral) * np.cos(around)
    points: Floats = np.array([0.0, ring.y, ring.z]) + reach[:, None] * up / shrinkage(2 * COLUMNS)
    points[:, 0] = ring.half_width * np.sin(around) / shrinkage(2 * COLUMNS)
    points[[0, -1], 0] = 0.0
    return points


def _in_patch(row: int, column: int) -> bool:
    patches = (otter.ARM_PATCH, otter.LEG_PATCH, otter.EAR_PATCH, otter.EYE_PATCH)
    return any(low <= row < high and first <= column < last for low, high, first, last in patches)


def _trunk_island(row: int) -> str:
    if row < otter.TAIL_ROWS:
        return "tail"
    return "torso" if row < otter.HEAD_FIRST_RING else "head"


@dataclass(frozen=True)
class Trunk:
    ids: list[list[int]]
    plane: Floats  # (rings, columns + 1, 2)

    def loop(self, patch: tuple[int, int, int, int]) -> list[tuple[int, int]]:
        """The border of a patch as (ring, column), counter-clockwise seen from outside."""
        low, high, first, last = patch
        up = [(ring, first) for ring in range(low, high)]
        across = [(high, column) for column in range(first, last)]
        down = [(ring, last) for ring in range(high, low, -1)]
        back = [(low, column) for column in range(last, first, -1)]
        return up + across + down + back


def add_trunk(builder: CageBuilder) -> Trunk:
    rings = np.array([_trunk_ring(ring) for ring in otter.BODY])
    steps = np.linalg.norm(np.diff(rings, axis=0), axis=2).mean(axis=1)
    heights = np.concatenate([[0.0], np.cumsum(steps)])
    girths = np.array([arcs_of(ring) for ring in rings])
    # Wren's left lies to the left of u = 0, as seen from behind with the head up (v runs down).
    plane = np.stack([-girths, np.broadcast_to(-heights[:, None], girths.shape)], axis=2)
    ids = [builder.vertices(ring, blend) for ring, blend in zip(rings, trunk_blends(), strict=True)]
    for row in range(len(rings) - 1):
        for column in range(COLUMNS):
            if _in_patch(row, column):
                continue
            around = [(row, column), (row + 1, column), (row + 1, column + 1), (row, column + 1)]
            builder.quad([ids[i][j] for i, j in around], [plane[i, j] for i, j in around], _trunk_island(row))
    return Trunk(ids, plane)


def add_cap(builder: CageBuilder, border: list[int], outward: Floats, bulge: float, island: str) -> None:
    """Closes the half ring at a trunk's end with 2 by 4 quads, the half of a 4 by 4 grid."""
    points = builder.points(border)
    grid = np.zeros((3, 5), dtype=np.int64)
    grid[:, 0], grid[2, 1:4], grid[:, 4] = border[0:3], border[3:6], border[8:5:-1]
    outer = points[3:6]
    top, bottom = points[0], points[8]
    for y in range(1, 4):
        middle = top + (bottom - top) * (y / 4.0)
        for x in (0, 1):
            place = middle + (outer[y - 1] - middle) * (x / 2.0) + outward * bulge * (1.0 - 0.35 * x)
            place[0] = 0.0 if x == 0 else place[0]
            grid[x, y] = builder.vertex(place, builder.blends[border[0]])
    down = unit(bottom - top)
    faces_front = outward[2] > 0.0
    for x in range(2):
        for y in range(4):
            around = [(x, y + 1), (x + 1, y + 1), (x + 1, y), (x, y)]
            around = around if faces_front else around[::-1]
            ids = [int(grid[i, j]) for i, j in around]
            flat = [np.array([-place[0], np.dot(place - top, down)]) for place in builder.points(ids)]
            builder.quad(ids, flat, island)
