"""The nearest triangles of two regions, down two trees of boxes (branch and bound)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from plica.measure.aabb_tree import AabbTree, box_distances, boxes_of, levels, members_between
from plica.measure.region_faces import Faces
from plica.measure.structure_of_arrays import Singles
from plica.mesh.arrays import Floats, Integers

# Pairs that are worked on at once.
_AT_ONCE = 1 << 11
# Halvings after which boxes tell which frame is promising.
_COARSE = 3


class RegionPair(Protocol):
    """Two regions, their trees, and what is not to be held against each other: `Clearance` tells more."""

    @property
    def one(self) -> Faces: ...
    @property
    def other(self) -> Faces: ...
    @property
    def one_tree(self) -> AabbTree: ...
    @property
    def other_tree(self) -> AabbTree: ...
    @property
    def together(self) -> Integers: ...
    @property
    def marks(self) -> list[list[Integers]]: ...
    @property
    def kept_together(self) -> list[Integers]: ...


Number = TypeVar("Number", np.float32, np.int64)


class Moving(NamedTuple):
    """Both regions in some frames: their points (3, n, m) and the boxes of every level of their trees, in single
    precision, the frames' numbers (m,), and the runs (m,) that they belong to."""

    places: list[Singles]
    boxes: list[list[Singles]]
    frames: Integers
    runs: Integers

    @classmethod
    def of(cls, regions: RegionPair, places: Sequence[Singles], frames: Integers, runs: Integers) -> Moving:
        """With the boxes round the points."""
        trees = (regions.one_tree, regions.other_tree)
        boxes = [levels(boxes_of(part, tree.points)) for part, tree in zip(places, trees, strict=True)]
        return cls(list(places), boxes, frames, runs)


def leading(regions: RegionPair, moving: Moving) -> Integers:
    """Of each run the frame, by its column, that promises to be its nearest, by boxes that hold much; rising."""
    step = min(_COARSE, len(regions.kept_together) - 1)
    at = [min(step, tree.depth) for tree in (regions.one_tree, regions.other_tree)]
    pairs = np.arange(1 << sum(at))
    pairs = pairs[~np.isin(pairs, regions.kept_together[step])]
    one, other = (boxes[level] for boxes, level in zip(moving.boxes, at, strict=True))
    apart = box_distances(one, other, pairs >> at[1], pairs & ((1 << at[1]) - 1)).min(axis=0, initial=np.inf)
    order = np.lexsort((apart, moving.runs))
    return np.asarray(np.sort(order[np.unique(moving.runs[order], return_index=True)[1]]))


class NearestSearch:
    """Looks for the nearest triangles of both regions in many frames, in single precision: down both trees of boxes,
    by what the distances of boxes are not below and what the smallest distance of all is not above."""

    def __init__(
        self, regions: RegionPair, moving: Moving, columns: Integers | None, error: float, bounds: Floats
    ) -> None:
        """columns: the frames of `moving` that are looked at, all for None; error: how far off a distance may be;
        bounds (runs,): what each run's smallest distance is known not to be above, infinite where nothing is known."""
        self._regions, self._error = regions, np.float32(error)
        self._trees = (regions.one_tree, regions.other_tree)
        self._moving, self._columns = moving, columns
        self._places = [self._left(part) for part in moving.places]
        # A little above, so that rounding to single precision does not bring them below the distances.
        self._bounds = (bounds * (1.0 + 1e-6) + error).astype(np.float32)
        self._unknown = bool(np.isinf(bounds[self.runs]).any())

    def candidates(self) -> tuple[Integers, Integers, Singles]:
        """Pairs of triangles (n,), by their numbers, and distances (n, m) that they are not below in the frames (m,)
        that are then left: the nearest of each run is among them, every time it is as near, unless its bound is
        below it."""
        i = j = np.zeros(1, np.int64)
        for step, kept in enumerate(self._regions.kept_together):
            i, j = self._halved(step, i, j)
            at = [min(step, tree.depth) for tree in self._trees]
            if self._unknown:
                free = ~np.isin((i << at[1]) + j, kept)
                marks = [mine[level] for mine, level in zip(self._regions.marks, at, strict=True)]
                self._approach(marks[0][i[free]], marks[1][j[free]])
            boxes = [self._left(mine[level]) for mine, level in zip(self._moving.boxes, at, strict=True)]
            i, j, lower = self._near(i, j, self._lower(boxes[0], boxes[1], i, j))
        if lower.size:
            # The triangles of the most promising leaves rule most others out.
            promising = np.unique(lower.argmin(axis=0))
            self._members(i[promising], j[promising])
            i, j, _ = self._near(i, j, lower)
        first, second = self._members(i, j)
        used, others = np.unique(first, return_inverse=True), np.unique(second, return_inverse=True)
        mine = boxes_of(self._places[0], self._regions.one.corners[used[0]])
        theirs = boxes_of(self._places[1], self._regions.other.corners[others[0]])
        return self._near(first, second, self._lower(mine, theirs, used[1], others[1]))

    @property
    def frames(self) -> Integers:
        """The numbers of the frames that are left, (m,)."""
        return self._left(self._moving.frames)

    @property
    def runs(self) -> Integers:
        """The runs of the frames that are left, (m,)."""
        return self._left(self._moving.runs)

    def _left(self, values: NDArray[Number]) -> NDArray[Number]:
        return values if self._columns is None else _some(values, self._columns)

    def _halved(self, step: int, i: Integers, j: Integers) -> tuple[Integers, Integers]:
        if 0 < step <= self._trees[0].depth:
            i, j = np.concatenate([2 * i, 2 * i + 1]), np.concatenate([j, j])
        if 0 < step <= self._trees[1].depth:
            i, j = np.concatenate([i, i]), np.concatenate([2 * j, 2 * j + 1])
        return i, j

    def _members(self, i: Integers, j: Integers) -> tuple[Integers, Integers]:
        """The pairs of triangles of pairs of leaves, by their numbers; approaches with them."""
        first, second = members_between(*self._trees, i, j)
        count = len(self._regions.other.corners)
        pairs = np.sort(first * count + second)
        first, second = np.divmod(pairs[~np.isin(pairs, self._regions.together)], count)
        self._approach(self._regions.one.corners[first, 0], self._regions.other.corners[second, 0])
        return first, second

    def _approach(self, one: Integers, other: Integers) -> None:
        """Two points of each of some pairs are known, and so the smallest distances are not above theirs."""
        for start in range(0, len(one), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            square = np.zeros((len(one[part]), self._places[0].shape[2]), np.float32)
            for mine, theirs in zip(*self._places, strict=True):
                apart = mine[one[part]] - theirs[other[part]]
                apart *= apart
                square += apart
            nearest = np.sqrt(square.min(axis=0, initial=np.inf)) + self._error
            np.minimum.at(self._bounds, self.runs, nearest)

    def _lower(self, one: Singles, other: Singles, i: Integers, j: Integers) -> Singles:
        """What the distances of boxes i and j (n,) of two lists are not below, (n, frames)."""
        result = np.empty((len(i), self._places[0].shape[2]), np.float32)
        for start in range(0, len(i), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            np.subtract(box_distances(one, other, i[part], j[part]), self._error, out=result[part])
        return result

    def _near(self, i: Integers, j: Integers, lower: Singles) -> tuple[Integers, Integers, Singles]:
        """The pairs that may be the nearest of a run in any frame; frames in which none may are left out from now
        on."""
        near = lower <= self._bounds[self.runs]
        rows, columns = np.asarray(near.any(axis=1)), np.asarray(near.any(axis=0))
        if 4 * columns.sum() > 3 * len(columns):
            return i[rows], j[rows], lower[rows]  # too few to leave out for moving the others together
        left = np.flatnonzero(columns)
        self._columns = left if self._columns is None else self._columns[left]
        self._places = [_some(part, left) for part in self._places]
        return i[rows], j[rows], lower[np.ix_(rows, columns)]


def _some(values: NDArray[Number], columns: Integers) -> NDArray[Number]:
    """Some of the frames of values (..., frames)."""
    return np.take(values, columns, axis=-1)
