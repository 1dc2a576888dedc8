"""Where a surface passes through itself in a few poses, without what `Crossing` prepares for many."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from plica.kinds.expectations import BORDER
from plica.measure.aabb_tree import AabbTree, boxes_of, levels, meeting_leaves, members_between, touching, tree_over
from plica.measure.region_faces import Faces, faces_of
from plica.measure.separating_axis import meeting
from plica.mesh.arrays import Floats, Integers, Mesh


@dataclass(frozen=True, eq=False)
class PoseCrossing:
    """Pairs of triangles of one connected surface that meet in a pose and do not meet at rest.

    Left out are those that share a welded point, those of different surfaces (eyes in their sockets, clothes on skin),
    and those that one joint alone carries, which stay as they are to each other.

    surface, carrier (t,): the connected surface of each triangle, and the bind that alone carries it, -1 for several.
    """

    faces: Faces
    tree: AabbTree
    rest: Floats
    surface: Integers
    carrier: Integers

    @classmethod
    def prepared(cls, mesh: Mesh, rest: Floats, weights: Floats, border: float = BORDER) -> PoseCrossing:
        """rest (v, 3) metres; weights (v,) of the region to look at. Raises ValueError where it has no triangles."""
        faces = faces_of(mesh, weights, border)
        if not len(faces.corners):
            raise ValueError("nothing to look for crossings in: there are no triangles")
        places = rest[faces.vertices]
        tree = tree_over(places[faces.corners].mean(axis=1), faces.corners)
        return cls(faces, tree, places, _surfaces(mesh)[faces.corner_vertices[:, 0]], _carriers(mesh, faces))

    def pairs(self, positions: Floats) -> Integers:
        """The pairs (n, 2), numbers of the mesh's triangles, in one pose: positions (v, 3) metres."""
        one, other = self._met(positions[self.faces.vertices])
        new = ~meeting(self.rest[self.faces.corners[one]], self.rest[self.faces.corners[other]])
        return np.sort(self.faces.numbers[np.column_stack([one[new], other[new]])], axis=1)

    def pairs_at_rest(self) -> Integers:
        """The pairs (n, 2) that meet at rest already, which is why they are left out elsewhere."""
        return np.sort(self.faces.numbers[np.column_stack(self._met(self.rest))], axis=1)

    def _met(self, posed: Floats) -> tuple[Integers, Integers]:
        one, other = self._close(posed)
        met = meeting(posed[self.faces.corners[one]], posed[self.faces.corners[other]])
        return one[met], other[met]

    def _close(self, posed: Floats) -> tuple[Integers, Integers]:
        """Pairs that may count and whose boxes meet."""
        # Rounding keeps the order of numbers, so boxes that meet still meet in single precision.
        places = np.ascontiguousarray((posed - posed.mean(axis=0)).T[:, :, None], dtype=np.float32)
        first, second = meeting_leaves(levels(boxes_of(places, self.tree.points)))
        own = np.arange(len(self.tree.leaves))
        first, second = np.concatenate([first, own]), np.concatenate([second, own])
        one, other = members_between(self.tree, self.tree, first, second)
        counts = (self.surface[one] == self.surface[other]) & (one != other)
        counts &= (self.carrier[one] < 0) | (self.carrier[one] != self.carrier[other])
        counts &= (self.tree.leaf_of[one] != self.tree.leaf_of[other]) | (one < other)
        one, other = one[counts], other[counts]
        boxes = boxes_of(places, self.faces.corners)
        met = touching(boxes, boxes, one, other)[:, 0]
        one, other = one[met], other[met]
        corners = self.faces.corners
        apart = (corners[one][:, :, None] != corners[other][:, None, :]).all(axis=(1, 2))
        return one[apart], other[apart]


def _surfaces(mesh: Mesh) -> Integers:
    """The connected surface of each vertex (v,), by welded points."""
    points = mesh.points[mesh.triangles]
    ends = np.concatenate([points[:, :2], points[:, 1:]])
    links = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(mesh.point_count, mesh.point_count))
    return np.asarray(connected_components(links, directed=False)[1][mesh.points], np.int64)


def _carriers(mesh: Mesh, faces: Faces) -> Integers:
    """The bind that alone carries each triangle, -1 where several do."""
    if not mesh.joints.shape[1]:
        return np.full(len(faces.corners), -1)
    heaviest = mesh.weights.argmax(axis=1)
    rows = np.arange(mesh.vertex_count)
    alone = np.where(mesh.weights[rows, heaviest] >= 1.0 - 1e-6, mesh.joints[rows, heaviest], -1)
    at_corners = alone[faces.corner_vertices]
    same = (at_corners == at_corners[:, :1]).all(axis=1)
    return np.where(same, at_corners[:, 0], -1)
