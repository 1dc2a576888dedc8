"""The volume that the drafted part of the skin encloses, with its gradient."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from plica.measure.region_faces import loops_of, open_edges
from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseFloats


@dataclass(frozen=True, eq=False)
class EnclosedVolume:
    """Triangles (t, 3) of a surface closed by fans about the means of its open loops, as `plica.measure.volume` does;
    indexes of points and then of the means, which `extended` (p + loops, p) adds to positions."""

    triangles: Integers
    extended: SparseFloats

    @classmethod
    def of(cls, triangles: Integers, points: int) -> EnclosedVolume:
        """triangles (t, 3) between `points` points."""
        edges = open_edges(triangles)
        loop = loops_of(edges)
        count = int(loop.max(initial=-1)) + 1
        caps = np.stack([edges[:, 1], edges[:, 0], points + loop], axis=1)
        shares = 1.0 / np.bincount(loop, minlength=count)[loop]
        means = sparse.csr_array((shares, (loop, edges[:, 0])), shape=(count, points))
        extended = sparse.csr_array(sparse.vstack([sparse.eye_array(points), means]))
        return cls(np.concatenate([triangles, caps]), extended)

    def of_positions(self, positions: Floats) -> tuple[float, Floats]:
        """The volume at positions (p, 3) and its gradient (p, 3).

        The divergence theorem for a third of the place: a sixth of the sum of a . (b x c) over triangles a, b, c.
        """
        places = np.asarray(self.extended @ (positions - positions.mean(axis=0)))
        a, b, c = (places[self.triangles[:, corner]] for corner in range(3))
        b_c = np.cross(b, c)
        gradient = np.zeros_like(places)
        for corner, part in enumerate((b_c, np.cross(c, a), np.cross(a, b))):
            for axis in range(3):
                gradient[:, axis] += np.bincount(self.triangles[:, corner], part[:, axis], len(places)) / 6.0
        return float((a * b_c).sum() / 6.0), np.asarray(self.extended.T @ gradient)
