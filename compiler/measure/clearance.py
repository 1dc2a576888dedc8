"""The clearance between two regions of the skin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from plica.measure.distance import distances
from plica.measure.faces import Faces, faces_of, without
from plica.measure.lanes import frame_pieces
from plica.measure.model import Measured
from plica.measure.tree import Tree, boxes_of, levels, meeting_between, touching, tree_over
from plica.mesh.model import Floats, Integers, Mesh

# Boxes grow by this much more than the distance sought, of their coordinates' size, for single precision.
_ROUNDING = 8.0 * float(np.finfo(np.float32).eps)
# For the rounding of sums and roots in double precision.
_SLACK = 1.0 + 1e-9
_NOWHERE = np.float32(-1e30)
_AT_ONCE = 1 << 15


class _Near(NamedTuple):
    """A bound of the clearance in a frame, metres, and which triangles (t,) of either region may have it."""

    bound: float
    one: NDArray[np.bool_]
    other: NDArray[np.bool_]


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
        nears = [self._near(*places) for places in zip(one, other, strict=True)]
        frame, first, second = self._candidates(one, other, nears)
        bounds = np.array([near.bound for near in nears])
        balls = (_balls(one[:, self.one.corners]), _balls(other[:, self.other.corners]))
        values, vertices = np.full(len(positions), np.inf), np.full(len(positions), -1)
        for start in range(0, len(frame), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            at, i, j = frame[part], first[part], second[part]
            apart = np.linalg.norm(balls[0][0][at, i] - balls[1][0][at, j], axis=1)
            close = apart <= (bounds[at] + balls[0][1][at, i] + balls[1][1][at, j]) * _SLACK
            at, i, j = at[close], i[close], j[close]
            found = distances(one[at[:, None], self.one.corners[i]], other[at[:, None], self.other.corners[j]])
            order = np.lexsort((j, i, found, at))
            which, head = np.unique(at[order], return_index=True)
            best = order[head]
            closer = found[best] < values[which]
            values[which[closer]] = found[best[closer]]
            vertices[which[closer]] = self.one.corner_vertices[i[best[closer]], 0]
        return values, vertices

    def _near(self, one: Floats, other: Floats) -> _Near:
        """What has to be looked at in a frame.

        Some pair is no further apart than the nearest loose points are, `bound`. Of the nearest places of two triangles
        each is within its triangle's longest edge of a corner, so a triangle whose corners are all further than the
        bound and the longest edges of both from the other region's points has no part in it.
        """
        apart = np.asarray(cKDTree(other).query(one)[0])
        back = np.asarray(cKDTree(one).query(other)[0])
        bound = float(np.min(apart[self.loose], initial=np.inf))
        corners, others = self.one.corners, self.other.corners
        own, theirs = _longest_edges(one[corners]), _longest_edges(other[others])
        return _Near(
            bound,
            apart[corners].min(axis=1) <= (bound + own + theirs.max()) * _SLACK,
            back[others].min(axis=1) <= (bound + theirs + own.max()) * _SLACK,
        )

    def _candidates(self, one: Floats, other: Floats, nears: list[_Near]) -> tuple[Integers, Integers, Integers]:
        """Frames and pairs of triangles whose boxes come as near as the bounds."""
        places = [np.ascontiguousarray(part.transpose(2, 1, 0), dtype=np.float32) for part in (one, other)]
        extent = max(float(np.abs(part).max()) for part in places)
        bounds = np.array([near.bound for near in nears])
        margin = (np.minimum(bounds, 16.0 * extent) + _ROUNDING * extent).astype(np.float32)
        # A box grown by less than nothing meets none.
        grown = np.where(np.stack([near.one for near in nears], axis=1), margin, _NOWHERE)
        left = np.where(np.stack([near.other for near in nears], axis=1), np.float32(0.0), _NOWHERE)
        leaves = (
            boxes_of(places[0], self.one_tree.points) + grown[self.one_tree.leaves].max(axis=1),
            boxes_of(places[1], self.other_tree.points) + left[self.other_tree.leaves].max(axis=1),
        )
        i, j = meeting_between(levels(leaves[0]), levels(leaves[1]))
        first, second = _members(self.one_tree, self.other_tree, i, j)
        corners, others = self.one.corner_vertices[first], self.other.corner_vertices[second]
        kept = ~(corners[:, :, None] == others[:, None, :]).any(axis=(1, 2))
        first, second = first[kept], second[kept]
        boxes = (boxes_of(places[0], self.one.corners) + grown, boxes_of(places[1], self.other.corners) + left)
        pair, frame = np.nonzero(touching(boxes[0], boxes[1], first, second))
        return frame, first[pair], second[pair]


def _members(one: Tree, other: Tree, i: Integers, j: Integers) -> tuple[Integers, Integers]:
    """All pairs of a triangle of leaf i of one tree and a triangle of leaf j of the other."""
    a, b = np.divmod(np.arange(one.leaves.shape[1] * other.leaves.shape[1]), other.leaves.shape[1])
    pair, slot = np.nonzero((a < one.counts[i][:, None]) & (b < other.counts[j][:, None]))
    return one.leaves[i[pair], a[slot]], other.leaves[j[pair], b[slot]]


def _longest_edges(corners: Floats) -> Floats:
    """Metres (t,) for triangles (t, 3 corners, 3)."""
    edges = corners - corners[:, [1, 2, 0]]
    return np.asarray(np.sqrt((edges**2).sum(axis=2)).max(axis=1))


def _balls(corners: Floats) -> tuple[Floats, Floats]:
    """Middles (frames, t, 3) and radii (frames, t) of balls round triangles (frames, t, 3 corners, 3)."""
    middles = corners.mean(axis=2)
    return middles, np.linalg.norm(corners - middles[:, :, None], axis=3).max(axis=2)
