"""Collects the control cage piece by piece: vertices with their weights, quads with their texture
coordinates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from plica.picture.directions import Floats
from plica.specs.wren.weights import CageBlend


@dataclass
class CageBuilder:
    places: list[Floats] = field(default_factory=list)
    blends: list[CageBlend] = field(default_factory=list)
    faces: list[tuple[int, ...]] = field(default_factory=list)
    corners: list[Floats] = field(default_factory=list)
    islands: list[str] = field(default_factory=list)

    def vertex(self, place: Floats, blend: CageBlend) -> int:
        self.places.append(place)
        self.blends.append(blend)
        return len(self.places) - 1

    def vertices(self, places: Floats, blend: CageBlend) -> list[int]:
        return [self.vertex(place, blend) for place in places]

    def quad(self, ids: Sequence[int], corners: Sequence[Floats], island: str) -> None:
        self.faces.append(tuple(ids))
        self.corners.append(np.array(corners))
        self.islands.append(island)

    def points(self, ids: Sequence[int]) -> Floats:
        return np.array([self.places[index] for index in ids])


def shrinkage(count: int) -> float:
    """The factor by which Catmull-Clark shrinks a long tube whose regular rings have `count` vertices.

    The limit of a uniform cubic B-spline through a regular polygon's corners has radius (2 + cos(2 pi / n))
    / 3.
    """
    return float((2.0 + np.cos(2.0 * np.pi / count)) / 3.0)


def arcs_of(points: Floats) -> Floats:
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])


def matched(loop: list[int], ring: Floats, builder: CageBuilder) -> list[int]:
    """The loop turned so that its vertices lie nearest to the ring's; a twisted first row would show."""
    turns = [loop[shift:] + loop[:shift] for shift in range(len(loop))]
    return min(turns, key=lambda turn: float(np.sum((builder.points(turn) - ring) ** 2)))
