"""The volume that a region of the skin encloses."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from plica.measure.region_faces import faces_of, loops_of, mean_weights, open_edges
from plica.measure.structure_of_arrays import frame_pieces, lanes, total
from plica.measure.worst_values import FrameValues
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.sparse import SparseFloats

# Triangles that are worked on at once.
_ROWS = 256
# Borders by which a region is weighed, from little weight to much.
LEVELS = 8


@dataclass(frozen=True, eq=False)
class Volume:
    """The signed volume inside a region's triangles, in cubic metres, every open loop closed by a fan about the mean
    of its points. Positive where triangles run counterclockwise seen from outside.

    Divergence theorem for the field (x, 0, 0): over the triangles a, b, c of a closed surface, a sixth of the sum of
    (a + b + c) . e_x ((b - a) x (c - a)) . e_x, which takes one of three components of the vector areas. Where nothing
    is closed off (loops far from flat) it is still the volume inside that closed surface.

    Of a region with soft borders it is the mean of the volumes inside `LEVELS` borders, evenly from 0 to 1, so that no
    single border decides (the layer-cake integral of the weight by the midpoint rule). amounts (t, 1): in how many of
    them, as a share, each triangle of `corners` (t, 3) is; these are indexes into `vertices` and then the loops' means.
    """

    vertices: Integers
    corners: Integers
    amounts: Floats
    loops: SparseFloats
    rest: float

    @classmethod
    def prepared(cls, mesh: Mesh, weights: Floats, rest: Floats, border: float | None = None) -> Volume:
        """weights (v,) of the region, which is weighed or cut at a border; rest (v, 3): what `relative` refers to."""
        borders = (np.arange(LEVELS) + 0.5) / LEVELS if border is None else np.array([border])
        faces = faces_of(mesh, weights, float(borders[0]))
        means = mean_weights(mesh, weights)[faces.numbers]
        within = (means[:, None] > borders).mean(axis=1)
        corners, amounts = [faces.corners], [within]
        loops: list[SparseFloats] = []
        # Borders with the same triangles inside have the same loops.
        for share in np.unique(within):
            inside = within >= share
            edges = open_edges(faces.corners[inside])
            loop = loops_of(edges)
            count, before = int(loop.max(initial=-1)) + 1, sum(part.shape[0] for part in loops)
            own = share - max(within[within < share], default=0.0)
            corners.append(np.stack([edges[:, 1], edges[:, 0], len(faces.vertices) + before + loop], axis=1))
            amounts.append(np.full(len(edges), own))
            shares: Floats = 1.0 / np.bincount(loop, minlength=count)[loop]
            loops.append(sparse.csr_array((shares, (loop, edges[:, 0])), shape=(count, len(faces.vertices))))
        stacked = sparse.csr_array(sparse.vstack(loops)) if loops else sparse.csr_array((0, len(faces.vertices)))
        result = cls(faces.vertices, np.concatenate(corners), np.concatenate(amounts)[:, None], stacked, 0.0)
        return replace(result, rest=float(result.of(rest[None])[0]))

    def of(self, positions: Floats) -> Floats:
        """Cubic metres (frames,) for positions (frames, v, 3)."""
        result = np.zeros(len(positions))
        if not len(self.corners):
            return result
        for piece in frame_pieces(len(positions)):
            result[piece] = self._of_lanes(lanes(positions[piece], self.vertices))
        return result

    def relative(self, positions: Floats) -> FrameValues:
        """The change against rest, 0.04 for 4 % more; the sign is the change's. Not a number for a rest volume of 0."""
        with np.errstate(divide="ignore", invalid="ignore"):
            change = self.of(positions) / self.rest - 1.0 if self.rest else np.full(len(positions), np.nan)
        return FrameValues(change, np.full(len(positions), -1))

    def _of_lanes(self, places: Floats) -> Floats:
        # Numbers near the region keep their digits when it stands far from the origin.
        places -= places[:, :1].copy()
        middles = [np.asarray(self.loops @ axis) for axis in places]
        x, y, z = np.concatenate([places, np.stack(middles)], axis=1)
        sums = []
        for start in range(0, len(self.corners), _ROWS):
            a, b, c = self.corners[start : start + _ROWS].T
            y_a, z_a = y.take(a, axis=0), z.take(a, axis=0)
            y_b, z_b = y.take(b, axis=0), z.take(b, axis=0)
            y_c, z_c = y.take(c, axis=0), z.take(c, axis=0)
            for one, other in ((y_b, y_a), (y_c, y_a), (z_b, z_a), (z_c, z_a)):
                one -= other
            y_b *= z_c
            z_b *= y_c
            y_b -= z_b
            thrice = x.take(a, axis=0)
            thrice += x.take(b, axis=0)
            thrice += x.take(c, axis=0)
            y_b *= thrice
            y_b *= self.amounts[start : start + _ROWS]
            sums.append(total(y_b))
        return total(np.stack(sums)) / 6.0
