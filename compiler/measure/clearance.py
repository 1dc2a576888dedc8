"""The clearance between two regions of the skin."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from plica.kinds.expectations import BORDER, Worse
from plica.measure.aabb_tree import AabbTree, tree_over
from plica.measure.distance import distances, gaps
from plica.measure.nearest_search import Moving, NearestSearch, leading
from plica.measure.region_faces import Faces, faces_of, renumbered, without
from plica.measure.rest_neighbours import together
from plica.measure.structure_of_arrays import FRAMES, MANY, Singles, frame_pieces, singles, turned
from plica.measure.worst_values import WorstValues, joined, runs_of, starts_in
from plica.mesh.arrays import Floats, Integers, Mesh

# What single precision may do to a distance, of the coordinates' size, and what it cannot hold at all, in metres.
_ROUNDING = 16.0 * float(np.finfo(np.float32).eps)
_TINY = 1e-18
# For the rounding of sums and roots in double precision.
_SLACK = 1.0 + 1e-9
# Triangles in a leaf, at the most.
_LEAF = 4
# Pairs that are worked on at once.
_AT_ONCE = 1 << 12
# Where runs have so many frames or more on average, one frame bounds the others of its run.
_LONG = 32


@dataclass(frozen=True, eq=False)
class Clearance:
    """The smallest distance, in metres, between the triangles of two regions; 0 where they touch or cross.

    Triangles of both regions count for the first alone. Pairs that belong together
    (`plica.measure.rest_neighbours`) are not held against each other: those that share a welded point, and those whose
    ways to each other along the skin at rest are short. Beyond that nothing is left out.

    together (n,): the pairs left out, i t + j for triangle i of the first and j of the t of the second, rising.
    """

    one: Faces
    other: Faces
    one_tree: AabbTree
    other_tree: AabbTree
    together: Integers

    @classmethod
    def prepared(
        cls, mesh: Mesh, one: Floats, other: Floats, rest: Floats, short: float = 0.0, border: float = BORDER
    ) -> Clearance:
        """one and other (v,): the regions' weights; rest (v, 3); short: metres along the skin that triangles may be
        from each other without counting. Raises ValueError where a region has no triangles."""
        first = faces_of(mesh, one, border)
        second = without(faces_of(mesh, other, border), first)
        if not len(first.corners) or not len(second.corners):
            raise ValueError("a clearance needs two regions with triangles of their own")
        trees = [tree_over(rest[part.corner_vertices].mean(axis=1), part.corners, _LEAF) for part in (first, second)]
        return cls(first, second, trees[0], trees[1], together(faces_of(mesh), first, second, rest, short))

    @property
    def leaves_all_out(self) -> bool:
        """Whether all pairs belong together, so that nothing is measured."""
        return len(self.together) == len(self.one.corners) * len(self.other.corners)

    def on(self, vertices: Integers) -> Clearance:
        """The same for positions (frames, n, 3) of these of the mesh's vertices (n,) alone, rising."""
        return replace(self, one=renumbered(self.one, vertices), other=renumbered(self.other, vertices))

    def worst(self, positions: Floats, starts: Integers) -> WorstValues:
        """The least clearance of each run of frames of positions (frames, v, 3), at the corner of the first region's
        triangle that faces the other: of several pairs as near in the first such frame, the first. starts (runs,): the
        runs' first frames.

        Infinite, at -1, where all pairs are left out; without a figure where places are not finite in single precision.
        """
        return joined(self._pieces(positions, starts), starts, Worse.LESS)

    def _pieces(self, positions: Floats, starts: Integers) -> Iterator[tuple[slice, WorstValues]]:
        """The least clearances of pieces of the frames, infinite at -1 where an earlier piece's is less."""
        least = np.full(len(starts), np.inf)
        long = len(positions) >= _LONG * len(starts)
        for piece in frame_pieces(len(positions), MANY if long else FRAMES):
            runs = np.unique(runs_of(piece.stop, starts)[piece.start :])
            result = self._piece(positions[piece], starts_in(piece, starts), least[runs])
            least[runs] = np.fmin(least[runs], result.values)
            yield piece, result

    def _piece(self, positions: Floats, starts: Integers, least: Floats) -> WorstValues:
        origins = positions[:, self.one.vertices[0]]
        one, other = (singles(positions, part.vertices, origins) for part in (self.one, self.other))
        known = np.isfinite(one.extents) & np.isfinite(other.extents)
        run, frames = runs_of(len(known), starts), np.flatnonzero(known)
        result = WorstValues(np.full(len(starts), np.inf), np.array(starts), np.full(len(starts), -1))
        if len(frames):
            error = _ROUNDING * float(np.maximum(one.extents, other.extents)[known].max()) + _TINY
            places = [part.places if known.all() else part.places[:, :, known] for part in (one, other)]
            moving = Moving.of(self, places, frames, run[frames])
            # A frame of each run first: it bounds the others, most of which then need few boxes.
            long = len(frames) >= _LONG * len(starts)
            for columns in (leading(self, moving), None) if long else (None,):
                with np.errstate(over="ignore"):
                    search = NearestSearch(self, moving, columns, error, np.minimum(least, result.values))
                    self._nearest(positions, *search.candidates(), search.frames, search.runs, result)
        unknown = np.flatnonzero(~known)[::-1]
        result.values[run[unknown]], result.vertices[run[unknown]] = np.nan, -1
        result.frames[run[unknown]] = unknown
        return result

    def _nearest(
        self,
        positions: Floats,
        i: Integers,
        j: Integers,
        lower: Singles,
        frames: Integers,
        runs: Integers,
        result: WorstValues,
    ) -> None:
        """Writes the smallest distance of each run of frames, of triangles i and j (n,), not below `lower` (n, m) in
        `frames` (m,), which belong to `runs` (m,), where it is smaller than what is found, or as small and earlier."""
        if not lower.size:
            return
        # The most promising pair of each run first: it rules most of the others out.
        order = np.lexsort((lower.min(axis=0), runs))
        which, head = np.unique(runs[order], return_index=True)
        columns = order[head]
        promising = lower[:, columns].argmin(axis=0)
        bounds = result.values.copy()
        nearest = distances(*self._corners(positions, frames[columns], i[promising], j[promising]))
        bounds[which] = np.minimum(bounds[which], nearest)
        bounds *= _SLACK
        pair, column = np.nonzero(lower <= bounds[runs])
        values = np.full(len(pair), np.inf)
        for start in range(0, len(pair), _AT_ONCE):
            part = np.arange(start, min(start + _AT_ONCE, len(pair)))
            one, other = self._corners(positions, frames[column[part]], i[pair[part]], j[pair[part]])
            near = gaps(one, other) <= bounds[runs[column[part]]]
            values[part[near]] = distances(one[near], other[near])
        order = np.lexsort((pair, frames[column], values, runs[column]))
        which, head = np.unique(runs[column[order]], return_index=True)
        best = order[head]
        value, frame = values[best], frames[column[best]]
        nearer = (value < result.values[which]) | ((value == result.values[which]) & (frame < result.frames[which]))
        which, best = which[nearer], best[nearer]
        result.values[which], result.frames[which] = value[nearer], frame[nearer]
        one, other = self._corners(positions, frames[column[best]], i[pair[best]], j[pair[best]])
        facing = ((one - other.mean(axis=1, keepdims=True)) ** 2).sum(axis=2).argmin(axis=1)
        result.vertices[which] = self.one.corner_vertices[i[pair[best]], facing]

    def _corners(self, positions: Floats, frame: Integers, i: Integers, j: Integers) -> tuple[Floats, Floats]:
        """The corners (n, 3 corners, 3) of triangles i and j in frames (n,), the numbers of one coordinate side by
        side."""
        places = turned(positions)
        one, other = places[:, self.one.corner_vertices[i].T, frame], places[:, self.other.corner_vertices[j].T, frame]
        return one.transpose(2, 1, 0), other.transpose(2, 1, 0)

    @cached_property
    def marks(self) -> list[list[Integers]]:
        """For each side and level of its tree a point of each box."""
        result = []
        for tree in (self.one_tree, self.other_tree):
            marks = [tree.points[:, 0]]
            while len(marks[0]) > 1:
                marks.insert(0, marks[0][0::2])
            result.append(marks)
        return result

    @cached_property
    def kept_together(self) -> list[Integers]:
        """For each step down the trees the pairs of boxes that hold pairs of triangles left out, i k + j for k boxes
        of the second, rising."""
        i, j = np.divmod(self.together, len(self.other.corners))
        first, second = self.one_tree.leaf_of[i], self.other_tree.leaf_of[j]
        deepest = (self.one_tree.depth, self.other_tree.depth)
        result = []
        for step in range(max(deepest) + 1):
            up = [depth - min(step, depth) for depth in deepest]
            result.append(np.unique((first >> up[0] << min(step, deepest[1])) + (second >> up[1])))
        return result
