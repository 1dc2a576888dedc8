"""Where the skin passes through itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plica.kinds.expectations import BORDER
from plica.measure.aabb_tree import AabbTree, boxes_of, levels, meeting_leaves, members_between, touching, tree_over
from plica.measure.region_faces import Faces, faces_of
from plica.measure.separating_axis import meeting
from plica.measure.structure_of_arrays import frame_pieces, lanes
from plica.measure.worst_values import FrameValues
from plica.mesh.arrays import Floats, Integers, Mesh

# Triangles in a leaf, at the most.
_LEAF = 4
# Frames looked at together, at the most, and triangles by frames: more would share less or leave the processor's cache.
_FRAMES, _NUMBERS = 64, 1 << 22
# Pairs of triangles, and of leaves, worked on at once.
_PAIRS, _LEAVES = 1 << 15, 1 << 16
# Places on either side of the middle of a frame; the sum of two holds in 16 bits.
_GRID = 16_383.0
# Metres; what divides by less may be infinite.
_LEAST_EXTENT = 1e-300


@dataclass(frozen=True, eq=False)
class Crossed:
    """frames (n,) and triangles (n, 2), the smaller number first: numbers of the mesh's triangles; sorted.

    measured: how many pairs each frame has, and a vertex of the first of them; not a number, at -1, where places are
    not finite.
    """

    frames: Integers
    triangles: Integers
    measured: FrameValues


@dataclass(frozen=True, eq=False)
class Crossing:
    """Pairs of triangles of a mesh that meet (`plica.measure.separating_axis.meeting`: touching counts).

    Left out are those that share a welded point and those that meet at rest.

    near: pairs of leaves whose boxes meet at rest, as i k + j for leaves i and j of k, rising, i = j included; one and
    other (n,): their pairs of triangles but those left out, which are all in such leaves. What comes near from
    elsewhere is found through the tree's boxes, fitted anew to each block of frames.
    at_rest (n, 2): the pairs that meet at rest, numbers of the mesh's triangles, the smaller first.
    """

    faces: Faces
    tree: AabbTree
    near: Integers
    one: Integers
    other: Integers
    at_rest: Integers

    @classmethod
    def prepared(cls, mesh: Mesh, rest: Floats, weights: Floats | None = None, border: float = BORDER) -> Crossing:
        """rest (v, 3) metres; weights (v,) of the region to look at, the whole mesh for None.

        Raises ValueError where that has no triangles.
        """
        faces = faces_of(mesh, weights, border)
        if not len(faces.corners):
            raise ValueError("nothing to look for crossings in: there are no triangles")
        places = rest[faces.vertices]
        tree = tree_over(places[faces.corners].mean(axis=1), faces.corners, _LEAF)
        coarse = _coarse(places.T[:, :, None])
        first, second = meeting_leaves(levels(boxes_of(coarse, tree.points)))
        own = np.arange(len(tree.leaves))
        near = np.sort(np.concatenate([first * len(own) + second, own * len(own) + own]))
        boxes = boxes_of(coarse, faces.corners)
        counting, meeting_at_rest = [], []
        for start in range(0, len(near), _LEAVES):
            pairs = _apart(tree, faces.corners, *np.divmod(near[start : start + _LEAVES], len(own)))
            close, _ = touching(boxes, *pairs)
            one, other = places[faces.corners[pairs[:, close]]]
            met = close[meeting(one, other)]
            meeting_at_rest.append(pairs[:, met])
            counting.append(np.delete(pairs, met, axis=1).astype(np.int32))
        one, other = np.concatenate(counting, axis=1)
        return cls(faces, tree, near, one, other, np.sort(faces.numbers[np.concatenate(meeting_at_rest, axis=1).T]))

    def of(self, positions: Floats) -> Crossed:
        """The pairs that meet in each frame of positions (frames, v, 3)."""
        frames, ones, others, unknown = ([np.zeros(0, np.int64)] for _ in range(4))
        for piece in frame_pieces(len(positions), max(1, min(_FRAMES, _NUMBERS // len(self.faces.corners)))):
            places = lanes(positions[piece], self.faces.vertices)
            known = np.isfinite(places).all(axis=(0, 1))
            unknown.append(piece.start + np.flatnonzero(~known))
            for frame, one, other in self._pairs(places if known.all() else places[:, :, known]):
                frames.append(piece.start + np.flatnonzero(known)[frame])
                ones.append(one)
                others.append(other)
        numbers = np.column_stack(
            [self.faces.numbers[np.concatenate(ones)], self.faces.numbers[np.concatenate(others)]]
        )
        numbers.sort(axis=1)
        frame = np.concatenate(frames)
        order = np.lexsort((numbers[:, 1], numbers[:, 0], frame))
        return self._crossed(len(positions), frame[order], numbers[order], np.concatenate(unknown))

    def _crossed(self, frames: int, frame: Integers, triangles: Integers, unknown: Integers) -> Crossed:
        counts = np.bincount(frame, minlength=frames).astype(np.float64)
        counts[unknown] = np.nan
        where = np.full(frames, -1)
        which, first = np.unique(frame, return_index=True)
        row = np.searchsorted(self.faces.numbers, triangles[first, 0])
        where[which] = self.faces.corner_vertices[row, 0]
        return Crossed(frame, triangles, FrameValues(counts, where))

    def _pairs(self, places: Floats) -> Iterator[tuple[Integers, Integers, Integers]]:
        """Frames and triangles that meet; places (3, p, frames) of welded points."""
        coarse = _coarse(places)
        far_one, far_other = self._far_pairs(boxes_of(coarse, self.tree.points))
        ones, others = np.concatenate([self.one, far_one]), np.concatenate([self.other, far_other])
        pair, frames = touching(boxes_of(coarse, self.faces.corners), ones, others)
        flat = places.reshape(3, -1)
        for start in range(0, len(pair), _PAIRS):
            part = slice(start, start + _PAIRS)
            frame, one, other = frames[part], ones[pair[part]], others[pair[part]]
            # One coordinate's numbers side by side, as `meeting` wants them.
            first, second = (
                np.take(flat, self.faces.corners[which].T * places.shape[2] + frame, axis=1).transpose(2, 1, 0)
                for which in (one, other)
            )
            met = meeting(first, second)
            yield frame[met], one[met], other[met]

    def _far_pairs(self, boxes: NDArray[np.int16]) -> tuple[Integers, Integers]:
        """Pairs of triangles from leaves that meet in any frame and did not at rest; boxes (6, k, frames)."""
        first, second = meeting_leaves(levels(boxes))
        keys = first * len(self.tree.leaves) + second
        slot = np.searchsorted(self.near, keys).clip(max=len(self.near) - 1)
        new = self.near[slot] != keys
        return members_between(self.tree, self.tree, first[new], second[new])


def _apart(tree: AabbTree, corners: Integers, first: Integers, second: Integers) -> Integers:
    """The pairs of triangles (2, n) of pairs of leaves that share no point."""
    one, other = members_between(tree, tree, first, second)
    left = (tree.leaf_of[one] != tree.leaf_of[other]) | (one < other)
    for a in range(3):
        for b in range(3):
            left &= corners[one, a] != corners[other, b]
    return np.stack([one[left], other[left]])


def _coarse(places: Floats) -> NDArray[np.int16]:
    """Places (3, p, frames) on a grid of each frame's own: the order of coordinates is kept, so boxes that meet still
    meet."""
    low, high = places.min(axis=1, keepdims=True), places.max(axis=1, keepdims=True)
    cells = places - 0.5 * (low + high)
    cells *= 2.0 * _GRID / np.maximum(high - low, _LEAST_EXTENT)
    result: NDArray[np.int16] = np.rint(cells, out=cells).astype(np.int16)
    return result
