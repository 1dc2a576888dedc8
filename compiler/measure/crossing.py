"""Where the skin passes through itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from plica.kinds.expectations import BORDER
from plica.measure.aabb_tree import (
    AabbTree,
    boxes_of,
    levels,
    meeting_leaves,
    touching,
    tree_over,
)
from plica.measure.checks import are_indexes, are_rising, are_starts
from plica.measure.culling import SkinPatches, patches_of
from plica.measure.edge_paths import paths
from plica.measure.region_faces import Faces, faces_of
from plica.measure.separating_axis import meeting
from plica.measure.structure_of_arrays import Singles, cross, dot, frame_pieces, turned
from plica.measure.worst_values import FrameValues
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.sparse import SparseFloats
from plica.mesh.weld import edges_of

_AT_ONCE = 1 << 14
# By how much of its diameter a leaf's box grows to find those near it.
_NEAR = np.float32(0.05)


@dataclass(frozen=True, eq=False)
class Crossed:
    """frames (n,) and triangles (n, 2), the smaller number first: numbers of the mesh's triangles; sorted.

    measured: how many pairs each frame has, and a vertex of the first of them.
    """

    frames: Integers
    triangles: Integers
    measured: FrameValues


@dataclass(frozen=True, eq=False)
class Crossing:
    """Pairs of triangles of a mesh that meet (`plica.measure.separating_axis.meeting`: touching counts).

    Left out are those that share a welded point and those that meet at rest.

    leaf pairs that are near each other at rest, first and second (n,), sorted by `keys`; their pairs of
    triangles lie at
    starts[n]:starts[n + 1] of one, other and reach (`plica.measure.culling`); pairs that cannot count are left out.
    Everything else is found through the tree's boxes, fitted anew to each block of frames.
    """

    faces: Faces
    tree: AabbTree
    patches: SkinPatches
    keys: Integers
    first: Integers
    second: Integers
    starts: Integers
    one: Integers
    other: Integers
    reach: Floats

    @classmethod
    def prepared(cls, mesh: Mesh, rest: Floats, weights: Floats | None = None, border: float = BORDER) -> Crossing:
        """rest (v, 3) metres; weights (v,) of the region to look at, the whole mesh for None.

        Raises ValueError where that has no triangles.
        """
        faces = faces_of(mesh, weights, border)
        if not len(faces.corners):
            raise ValueError("nothing to look for crossings in: there are no triangles")
        places = rest[faces.vertices] - rest[faces.vertices].mean(axis=0)
        tree = tree_over(places[faces.corners].mean(axis=1), faces.corners)
        patches = patches_of(tree, places, faces.corners)
        first, second = _near_leaves(tree, places)
        pair, one, other = _listed(tree, first, second)
        apart = ~_sharing(faces.corners, one, other)
        pair, one, other = pair[apart], one[apart], other[apart]
        corners = places[faces.corners]
        meets = _meets(corners, one, other)
        pair, one, other = pair[~meets], one[~meets], other[~meets]
        reach = _reach(corners, faces.corners, one, other, _ways(tree, patches, places, faces.corners))
        starts = np.searchsorted(pair, np.arange(len(first) + 1))
        keys = first * len(tree.leaves) + second
        return cls(faces, tree, patches, keys, first, second, starts, one, other, reach)

    def suits(self, vertices: int, triangles: int) -> bool:
        """Whether every index is one of a mesh of this size, and every list as long as those beside it."""
        faces, leaves, listed, pairs = len(self.faces.corners), len(self.tree.leaves), len(self.first), len(self.one)
        return (
            self.faces.suits(vertices, triangles)
            and self.tree.suits(faces, len(self.faces.vertices))
            and self.patches.suits(leaves, len(self.faces.vertices))
            and listed > 0
            and are_indexes(self.first, leaves)
            and are_indexes(self.second, leaves, (listed,))
            and np.array_equal(self.keys, self.first * leaves + self.second)
            and are_rising(self.keys)
            and are_starts(self.starts, listed, pairs)
            and are_indexes(self.one, faces)
            and are_indexes(self.other, faces, (pairs,))
            and self.reach.shape == (pairs,)
            and not np.isnan(self.reach).any()
        )

    def of(self, positions: Floats) -> Crossed:
        """The pairs that meet in each frame of positions (frames, v, 3)."""
        frames, ones, others = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
        for piece in frame_pieces(len(positions)):
            frame, one, other = self._pairs(positions[piece][:, self.faces.vertices])
            frames.append(frame + piece.start)
            ones.append(one)
            others.append(other)
        numbers = np.column_stack(
            [self.faces.numbers[np.concatenate(ones)], self.faces.numbers[np.concatenate(others)]]
        )
        numbers.sort(axis=1)
        frame = np.concatenate(frames)
        order = np.lexsort((numbers[:, 1], numbers[:, 0], frame))
        return self._crossed(len(positions), frame[order], numbers[order])

    def _crossed(self, frames: int, frame: Integers, triangles: Integers) -> Crossed:
        counts = np.bincount(frame, minlength=frames)
        where = np.full(frames, -1)
        which, first = np.unique(frame, return_index=True)
        row = np.searchsorted(self.faces.numbers, triangles[first, 0])
        where[which] = self.faces.corner_vertices[row, 0]
        return Crossed(frame, triangles, FrameValues(counts.astype(np.float64), where))

    def _pairs(self, positions: Floats) -> tuple[Integers, Integers, Integers]:
        """Frames and triangles that meet; positions (frames, p, 3) of welded points."""
        middle = positions.mean(axis=(0, 1))
        # Rounding keeps the order of numbers, so boxes that meet still meet in single precision.
        places = np.ascontiguousarray((positions - middle).transpose(2, 1, 0), dtype=np.float32)
        one, other = self._near_pairs(places)
        far_one, far_other = self._far_pairs(places)
        one, other = np.concatenate([one, far_one]), np.concatenate([other, far_other])
        frame, pair = self._boxed(places, one, other)
        one, other = one[pair], other[pair]
        result = np.zeros(len(frame), bool)
        for start in range(0, len(frame), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            # One coordinate's numbers side by side, as `meeting` wants them.
            first, second = (
                turned(positions)[:, self.faces.corners[which[part]].T, frame[part]].transpose(2, 1, 0)
                for which in (one, other)
            )
            result[part] = meeting(first, second)
        return frame[result], one[result], other[result]

    def _near_pairs(self, places: Singles) -> tuple[Integers, Integers]:
        """Pairs of triangles near each other at rest, of those the ones that may have come to meet."""
        first, second = self.patches.patch_of(self.first), self.patches.patch_of(self.second)
        deviations = self.patches.deviations(places, first, second)
        left = np.flatnonzero(np.repeat(deviations, np.diff(self.starts)) * self.reach >= 1.0)
        return self.one[left], self.other[left]

    def _far_pairs(self, places: Singles) -> tuple[Integers, Integers]:
        """Pairs of triangles from leaves that meet now and were not near each other at rest."""
        boxes = boxes_of(places, self.tree.points)
        first, second = meeting_leaves(levels(boxes))
        keys = first * len(self.tree.leaves) + second
        slot = np.searchsorted(self.keys, keys).clip(max=len(self.keys) - 1)
        new = self.keys[slot] != keys
        _, one, other = _listed(self.tree, first[new], second[new])
        return one, other

    def _boxed(self, places: Singles, one: Integers, other: Integers) -> tuple[Integers, Integers]:
        """Frames, and numbers of pairs, in which the boxes of two triangles meet."""
        held = np.zeros(len(self.faces.corners), bool)
        held[one] = held[other] = True
        slot = np.cumsum(held) - 1
        boxes = boxes_of(places, self.faces.corners[held])
        pair, frame = np.nonzero(touching(boxes, boxes, slot[one], slot[other]))
        return frame, pair


def _near_leaves(tree: AabbTree, places: Floats) -> tuple[Integers, Integers]:
    """Pairs of leaves less than a part of their size apart, and each with itself, sorted."""
    boxes = boxes_of(np.ascontiguousarray(places.T[:, :, None], dtype=np.float32), tree.points)
    diameters = np.sqrt(((boxes[:3] + boxes[3:]) ** 2).sum(axis=0))
    one, other = meeting_leaves(levels(boxes + _NEAR * diameters))
    own = np.arange(len(tree.leaves))
    first, second = np.concatenate([one, own]), np.concatenate([other, own])
    order = np.lexsort((second, first))
    return first[order], second[order]


def _ways(tree: AabbTree, patches: SkinPatches, places: Floats, corners: Integers) -> SparseFloats:
    """The ways between points that are short enough for every patch that they belong to."""
    longest = np.full(len(places), np.inf)
    patch = np.repeat(patches.patch_of(np.arange(len(tree.leaves))), tree.points.shape[1])
    np.minimum.at(longest, tree.points.reshape(-1), patches.longest[patch])
    return paths(places, edges_of(corners), longest)


def _listed(tree: AabbTree, first: Integers, second: Integers) -> tuple[Integers, Integers, Integers]:
    """The pairs of triangles of pairs of leaves: the number of the leaf pair, rising, and the two triangles."""
    most = tree.leaves.shape[1]
    a, b = np.repeat(np.arange(most), most), np.tile(np.arange(most), most)
    held = (a < tree.counts[first][:, None]) & (b < tree.counts[second][:, None])
    held &= (first != second)[:, None] | (a < b)
    pair, slot = np.nonzero(held)
    return pair, tree.leaves[first[pair], a[slot]], tree.leaves[second[pair], b[slot]]


def _sharing(corners: Integers, one: Integers, other: Integers) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    result = np.zeros(len(one), bool)
    for a in range(3):
        for b in range(3):
            result |= corners[one, a] == corners[other, b]
    return result


def _meets(corners: Floats, one: Integers, other: Integers) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which pairs of triangles (t, 3 corners, 3) meet."""
    result = np.zeros(len(one), bool)
    low, high = corners.min(axis=1), corners.max(axis=1)
    near = np.flatnonzero(((low[one] <= high[other]) & (low[other] <= high[one])).all(axis=1))
    result[near] = meeting(corners[one[near]], corners[other[near]])
    return result


def _reach(corners: Floats, points: Integers, one: Integers, other: Integers, lengths: SparseFloats) -> Floats:
    """The longest way between corners of two triangles against their distance at rest; infinite if it is not known."""
    result = np.empty(len(one))
    for start in range(0, len(one), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        i, j = one[part], other[part]
        longest = np.zeros(len(i))
        known = np.ones(len(i), bool)
        for a in range(3):
            for b in range(3):
                length = np.asarray(lengths[points[i, a], points[j, b]]).reshape(-1)
                known &= length > 0.0
                np.maximum(longest, length, out=longest)
        gap = _gap(corners[i], corners[j])
        with np.errstate(divide="ignore"):
            result[part] = np.where(known & (gap > 0.0), longest / gap, np.inf)
    return result


def _gap(a: Floats, b: Floats) -> Floats:
    """A lower bound of the distance of triangles (n, 3 corners, 3): the widest gap along a few directions."""
    one, other = (np.ascontiguousarray(corners.transpose(2, 1, 0)) for corners in (a, b))
    directions = [other.sum(axis=1) - one.sum(axis=1)]
    for corners in (one, other):
        edges = corners[:, [1, 2, 0]] - corners
        normal = cross(edges[:, 0], edges[:, 1])
        directions += [normal, *(cross(normal, edges[:, edge]) for edge in range(3))]
    result = np.zeros(len(a))
    for direction in directions:
        with np.errstate(divide="ignore", invalid="ignore"):
            unit = (direction / np.sqrt(dot(direction, direction)))[:, None]
        mine, theirs = dot(unit, one), dot(unit, other)
        gap = np.maximum(mine.min(axis=0) - theirs.max(axis=0), theirs.min(axis=0) - mine.max(axis=0))
        np.fmax(result, gap, out=result)
    return result
