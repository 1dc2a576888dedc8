"""The energy of a surface's bending: how much its Laplacian vectors change but for rotations.

Each point's Laplacian vector (L x) is compared with its neutral one, rotated as the edges around it rotate at best
(the cells' rotations of Sorkine and Alexa 2007): sum of |L x - R L x0|^2 / area of the point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from plica.drafting.best_rotation import best_rotations
from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseFloats

# Edges between obtuse angles have negative cotangent weights, under which a best rotation need not be unique.
_LEAST_WEIGHT = 1e-3


@dataclass(frozen=True, eq=False)
class Bending:
    """laplacian (p, p), areas (p,) of points, neutral vectors (p, 3), and the edges around points both ways: from, to
    (e,) and weighted neutral edges (e, 3)."""

    laplacian: SparseFloats
    areas: Floats
    vectors: Floats
    starts: Integers
    ends: Integers
    edges: Floats
    gather: SparseFloats

    @classmethod
    def of(cls, neutral: Floats, laplacian: SparseFloats, areas: Floats) -> Bending:
        """neutral (p, 3) places, the cotangent Laplacian (p, p), areas (p,) above 0."""
        links = sparse.coo_array(laplacian)
        apart = links.row != links.col
        starts, ends = links.row[apart].astype(np.int64), links.col[apart].astype(np.int64)
        weights = np.maximum(-links.data[apart], _LEAST_WEIGHT)
        edges = weights[:, None] * (neutral[starts] - neutral[ends])
        shape = (len(neutral), len(starts))
        gather = sparse.csr_array((np.ones(len(starts)), (starts, np.arange(len(starts)))), shape=shape)
        return cls(laplacian, areas, np.asarray(laplacian @ neutral), starts, ends, edges, gather)

    @property
    def quadratic(self) -> SparseFloats:
        """(p, p): the matrix of the energy's quadratic part, L^T L / area."""
        return sparse.csr_array(self.laplacian.T @ sparse.diags_array(1.0 / self.areas) @ self.laplacian)

    def rotations(self, positions: Floats) -> Floats:
        """The best rotation (p, 3, 3) of the edges around each point."""
        moved = positions[self.starts] - positions[self.ends]
        products = (moved[:, :, None] * self.edges[:, None, :]).reshape(-1, 9)
        covariance = np.asarray(self.gather @ products).reshape(-1, 3, 3)
        return best_rotations(covariance)

    def energy(self, positions: Floats) -> tuple[float, Floats]:
        """The energy and its gradient (p, 3), the rotations held still as in the alternating solve of the source."""
        return self.energy_with(self.rotations(positions), positions)

    def energy_with(self, rotations: Floats, positions: Floats) -> tuple[float, Floats]:
        """The same with rotations (p, 3, 3) that are given."""
        off = self.laplacian @ positions - np.einsum("pij,pj->pi", rotations, self.vectors)
        scaled = off / self.areas[:, None]
        return float((off * scaled).sum()), np.asarray(2.0 * (self.laplacian.T @ scaled))
