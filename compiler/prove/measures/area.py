"""The area of a region's skin, as a share of what it is in the neutral stance: skin gained or lost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from plica.kinds.expectations import EXPECTATION_KINDS, Worse
from plica.measure.region_faces import counted_shares
from plica.measure.structure_of_arrays import cross, dot, frame_pieces, lanes, total
from plica.measure.worst_values import FrameValues, worst_of
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.prove.registry import Measure, SkinMeasure
from plica.prove.skin import Skin, SkinGauge, UnmeasurableError
from plica.rig.expectations import border_of
from plica.rig.rig import Expectation

# Triangles that are worked on at once; sums are taken in an order that does not depend on the number of frames.
_ROWS: Final = 256


@dataclass(frozen=True, eq=False)
class RegionArea:
    """The area of triangles, each counted by its share (t,), in square metres.

    Half the length of the cross product of two edges (elementary geometry). vertices (n,) of the mesh; corners (t, 3)
    into them; rest: the area of the skin in the neutral stance.
    """

    vertices: Integers
    corners: Integers
    shares: Floats
    rest: float

    @classmethod
    def prepared(cls, mesh: Mesh, weights: Floats, rest: Floats, border: float | None = None) -> RegionArea:
        """weights (v,) of the region: a triangle counts by its mean weight, or by a border; rest (v, 3)."""
        shares = counted_shares(mesh, weights, border)
        numbers = np.flatnonzero(shares > 0.0)
        used, corners = np.unique(mesh.triangles[numbers], return_inverse=True)
        result = cls(used, corners.reshape(-1, 3), shares[numbers], 0.0)
        return cls(result.vertices, result.corners, result.shares, float(result.of(rest[None])[0]))

    def of(self, positions: Floats) -> Floats:
        """Square metres (frames,) for positions (frames, v, 3)."""
        result = np.zeros(len(positions))
        for piece in frame_pieces(len(positions)):
            places = lanes(positions[piece], self.vertices)
            pieces = [slice(start, start + _ROWS) for start in range(0, len(self.corners), _ROWS)]
            result[piece] = total(np.stack([self._of(places, rows) for rows in pieces])) if pieces else 0.0
        return result

    def relative(self, positions: Floats) -> FrameValues:
        """The change against rest of each frame, -0.1 for a tenth lost; of the whole region, so at no vertex."""
        return FrameValues(self.of(positions) / self.rest - 1.0, np.full(len(positions), -1))

    def _of(self, places: Floats, rows: slice) -> Floats:
        a, b, c = (places[:, self.corners[rows, corner]] for corner in range(3))
        normal = cross(b - a, c - a)
        sizes = np.sqrt(dot(normal, normal))
        sizes *= 0.5 * self.shares[rows, None]
        return total(sizes)


def _area(skin: Skin, expectation: Expectation, weights: list[Floats]) -> SkinGauge:
    prepared = RegionArea.prepared(skin.mesh, weights[0], skin.rest, border_of(expectation))
    if not prepared.rest:
        raise UnmeasurableError(f"{expectation.of[0]} has no area")
    return lambda positions, starts: worst_of(prepared.relative(positions), starts, Worse.FURTHER)


MEASURES: Final[tuple[Measure, ...]] = (SkinMeasure(EXPECTATION_KINDS["area"], _area),)
