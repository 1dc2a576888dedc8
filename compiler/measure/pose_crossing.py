"""Where a surface passes through itself in a pose, of its own accord."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from plica.kinds.expectations import BORDER
from plica.measure.crossing import Crossing
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.weld import first_vertices


@dataclass(frozen=True, eq=False)
class PoseCrossing:
    """Pairs of triangles of one connected surface that meet in a pose and do not meet at rest.

    Left out are those that share a welded point, those of different surfaces (eyes in their sockets, clothes on skin),
    and those that one joint alone carries, which stay as they are to each other.

    surface, carrier (t,): the connected surface of each triangle of the mesh, and the bind that alone carries it, -1
    for several.
    """

    crossing: Crossing
    surface: Integers
    carrier: Integers

    @classmethod
    def prepared(cls, mesh: Mesh, rest: Floats, weights: Floats, border: float = BORDER) -> PoseCrossing:
        """rest (v, 3) metres; weights (v,) of the region to look at. Raises ValueError where it has no triangles."""
        return cls(Crossing.prepared(mesh, rest, weights, border), _surfaces(mesh), _carriers(mesh))

    def pairs(self, positions: Floats) -> Integers:
        """The pairs (n, 2), numbers of the mesh's triangles, in one pose: positions (v, 3) metres."""
        return self._counting(self.crossing.of(positions[None]).triangles)

    def pairs_at_rest(self) -> Integers:
        """The pairs (n, 2) that meet at rest already, which is why they are left out elsewhere."""
        return self._counting(self.crossing.at_rest)

    def _counting(self, pairs: Integers) -> Integers:
        surface, carrier = self.surface[pairs], self.carrier[pairs]
        together = (carrier[:, 0] == carrier[:, 1]) & (carrier[:, 0] >= 0)
        return np.asarray(pairs[(surface[:, 0] == surface[:, 1]) & ~together])


def _surfaces(mesh: Mesh) -> Integers:
    """The connected surface of each triangle (t,), by welded points."""
    points = mesh.points[mesh.triangles]
    ends = np.concatenate([points[:, :2], points[:, 1:]])
    links = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(mesh.point_count, mesh.point_count))
    return np.asarray(connected_components(links, directed=False)[1][points[:, 0]], np.int64)


def _carriers(mesh: Mesh) -> Integers:
    """The bind that alone carries each triangle (t,), -1 where several do."""
    if not mesh.joints.shape[1]:
        return np.full(len(mesh.triangles), -1)
    heaviest = mesh.weights.argmax(axis=1)
    rows = np.arange(mesh.vertex_count)
    alone = np.where(mesh.weights[rows, heaviest] >= 1.0 - 1e-6, mesh.joints[rows, heaviest], -1)
    at_corners = alone[first_vertices(mesh.points)[mesh.points[mesh.triangles]]]
    same = (at_corners == at_corners[:, :1]).all(axis=1)
    return np.where(same, at_corners[:, 0], -1)
