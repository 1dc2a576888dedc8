"""Normals of a posed mesh."""

from __future__ import annotations

import numpy as np
from scipy import sparse

from plica.mesh.arrays import Floats, Mesh


class Normals:
    """Vertex normals from positions: the sum of the adjoining triangles' area vectors at each welded point.

    Copies of a vertex, which importers make at seams, therefore share their normal.
    """

    def __init__(self, mesh: Mesh) -> None:
        count = len(mesh.triangles)
        corners = (mesh.points[mesh.triangles].reshape(-1), np.repeat(np.arange(count), 3))
        adjoining = sparse.csr_array((np.ones(3 * count), corners), shape=(mesh.point_count, count))
        # A triangle with two corners at one point has no area, so counting it twice there does no harm.
        self._adjoining = adjoining
        self._triangles = mesh.triangles
        self._points = mesh.points

    def of(self, positions: Floats) -> Floats:
        """Unit normals (..., v, 3) at positions (..., v, 3); null vectors where no triangle has an area."""
        flat = positions.reshape(-1, *positions.shape[-2:])
        result = np.empty_like(flat)
        for frame, places in enumerate(flat):
            result[frame] = self._one(places)
        return result.reshape(positions.shape)

    def _one(self, positions: Floats) -> Floats:
        first, second, third = (positions[self._triangles[:, corner]] for corner in range(3))
        sums = np.asarray(self._adjoining @ np.cross(second - first, third - first))
        size = np.sqrt((sums * sums).sum(axis=1, keepdims=True))
        np.divide(sums, size, out=sums, where=size > 0)
        return np.asarray(sums[self._points])
