"""The clearance between two regions of the skin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from plica.measure.distance import distances
from plica.measure.faces import Faces, faces_of, without
from plica.measure.lanes import frame_pieces
from plica.measure.model import Measured
from plica.measure.tree import Tree, boxes_of, levels, meeting_between, touching, tree_over
from plica.mesh.model import Floats, Integers, Mesh

# Boxes grow by this much more than the distance sought, of their coordinates' size, for single precision.
_ROUNDING = 8.0 * float(np.finfo(np.float32).eps)
_AT_ONCE = 1 << 15


@dataclass(frozen=True, eq=False)
class Clearance:
    """The smallest distance, in metres, between the triangles of two regions; 0 where they touch or cross.

    Triangles of both regions count for the first alone, and triangles that share a welded point are not held against
    each other, so that regions which border on each other are not always at 0. Beyond that nothing is left out: for
    neighbours the figure is at most about the length of an edge along their border.

    loose (n,): points of the first region's triangles that share no point with the second region.
    """

    one: Faces
    other: Faces
    one_tree: Tree
    other_tree: Tree
    loose: Integers

    @classmethod
    def prepared(cls, mesh: Mesh, one: Floats, other: Floats, rest: Floats) -> Clearance:
        """one and other (v,): the regions' weights; rest (v, 3). Raises ValueError where a region has no triangles."""
        first = faces_of(mesh, one)
        second = without(faces_of(mesh, other), first)
        if not len(first.corners) or not len(second.corners):
            raise ValueError("a clearance needs two regions with triangles of their own")
        shared = np.isin(first.vertices, second.vertices)
        loose = np.unique(first.corners[~shared[first.corners].any(axis=1)])
        trees = [tree_over(rest[part.corner_vertices].mean(axis=1), part.corners) for part in (first, second)]
        return cls(first, second, trees[0], trees[1], loose)

    def of(self, positions: Floats) -> Measured:
        """The clearance in each frame of positions (frames, v, 3), at a vertex of the first region; infinite, at -1,
        where every triangle shares a point with every other."""
        values, vertices = np.full(len(positions), np.inf), np.full(len(positions), -1)
        for piece in frame_pieces(len(positions)):
            values[piece], vertices[piece] = self._piece(positions[piece])
        return Measured(values, vertices)

    def _piece(self, positions: Floats) -> tuple[Floats, Integers]:
        middle = positions[:, self.one.vertices].mean(axis=(0, 1))
        one, other = positions[:, self.one.vertices] - middle, positions[:, self.other.vertices] - middle
        bounds = np.array([self._bound(*places) for places in zip(one, other, strict=True)])
        frame, first, second = self._candidates(one, other, bounds)
        values, vertices = np.full(len(positions), np.inf), np.full(len(positions), -1)
        for start in range(0, len(frame), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            at, i, j = frame[part], first[part], second[part]
            found = distances(one[at[:, None], self.one.corners[i]], other[at[:, None], self.other.corners[j]])
            order = np.lexsort((j, i, found, at))
            which, head = np.unique(at[order], return_index=True)
            best = order[head]
            closer = found[best] < values[which]
            values[which[closer]] = found[best[closer]]
            vertices[which[closer]] = self.one.corner_vertices[i[best[closer]], 0]
        return values, vertices

    def _bound(self, one: Floats, other: Floats) -> float:
        """A distance that some pair of triangles is not further apart than: that of the nearest points."""
        if not len(self.loose):
            return float(np.inf)
        return float(cKDTree(other).query(one[self.loose])[0].min())

    def _candidates(self, one: Floats, other: Floats, bounds: Floats) -> tuple[Integers, Integers, Integers]:
        """Frames and pairs of triangles whose boxes come as near as the bounds (frames,)."""
        places = [np.ascontiguousarray(part.transpose(2, 1, 0), dtype=np.float32) for part in (one, other)]
        extent = max(float(np.abs(part).max()) for part in places)
        grow = np.minimum(bounds, 16.0 * extent) + _ROUNDING * extent
        margin = grow.astype(np.float32)
        leaves = (boxes_of(places[0], self.one_tree.points) + margin, boxes_of(places[1], self.other_tree.points))
        i, j = meeting_between(levels(leaves[0]), levels(leaves[1]))
        first, second = _members(self.one_tree, self.other_tree, i, j)
        corners, others = self.one.corner_vertices[first], self.other.corner_vertices[second]
        kept = ~(corners[:, :, None] == others[:, None, :]).any(axis=(1, 2))
        first, second = first[kept], second[kept]
        boxes = (boxes_of(places[0], self.one.corners) + margin, boxes_of(places[1], self.other.corners))
        pair, frame = np.nonzero(touching(boxes[0], boxes[1], first, second))
        return frame, first[pair], second[pair]


def _members(one: Tree, other: Tree, i: Integers, j: Integers) -> tuple[Integers, Integers]:
    """All pairs of a triangle of leaf i of one tree and a triangle of leaf j of the other."""
    a, b = np.divmod(np.arange(one.leaves.shape[1] * other.leaves.shape[1]), other.leaves.shape[1])
    pair, slot = np.nonzero((a < one.counts[i][:, None]) & (b < other.counts[j][:, None]))
    return one.leaves[i[pair], a[slot]], other.leaves[j[pair], b[slot]]
