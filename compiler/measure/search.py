"""The nearest triangles of two regions, down two trees of boxes (branch and bound)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from plica.measure.faces import Faces
from plica.measure.lanes import Singles
from plica.measure.tree import Tree, box_distances, boxes_of, levels, members_between
from plica.mesh.model import Integers

# Pairs that are worked on at once.
_AT_ONCE = 1 << 11


class Regions(Protocol):
    """Two regions, their trees, and what is not to be held against each other: `Clearance` tells more."""

    @property
    def one(self) -> Faces: ...
    @property
    def other(self) -> Faces: ...
    @property
    def one_tree(self) -> Tree: ...
    @property
    def other_tree(self) -> Tree: ...
    @property
    def together(self) -> Integers: ...
    @property
    def marks(self) -> list[list[Integers]]: ...
    @property
    def kept_together(self) -> list[Integers]: ...


class Search:
    """Looks for the nearest triangles of both regions in many frames, in single precision: down both trees of boxes,
    by what the distances of boxes are not below and what the smallest distance of all is not above."""

    def __init__(
        self, regions: Regions, places: Sequence[Singles], frames: Integers, runs: Integers, error: float
    ) -> None:
        """places: both regions' points (3, n, m) in `frames` (m,), which belong to `runs` (m,), whose nearest triangles
        are looked for; error: how far off a distance may be."""
        self._regions, self._error = regions, np.float32(error)
        self._places = list(places)
        self._trees = (regions.one_tree, regions.other_tree)
        self._boxes = [levels(boxes_of(part, tree.points)) for part, tree in zip(places, self._trees, strict=True)]
        self._bounds = np.full(int(runs.max()) + 1, np.inf, np.float32)
        self.frames, self.runs = frames, runs

    def candidates(self) -> tuple[Integers, Integers, Singles]:
        """Pairs of triangles (n,), by their numbers, and distances (n, m) that they are not below in `frames` (m,): the
        nearest of each run is among them, every time it is as near."""
        i = j = np.zeros(1, np.int64)
        for step, kept in enumerate(self._regions.kept_together):
            i, j = self._halved(step, i, j)
            at = [min(step, tree.depth) for tree in self._trees]
            free = ~np.isin((i << at[1]) + j, kept)
            marks = [mine[level] for mine, level in zip(self._regions.marks, at, strict=True)]
            self._approach(marks[0][i[free]], marks[1][j[free]])
            lower = self._lower(self._boxes[0][at[0]], self._boxes[1][at[1]], i, j)
            i, j, lower = self._near(i, j, lower)
        if lower.size:
            # The triangles of the most promising leaves rule most others out.
            leading = np.unique(lower.argmin(axis=0))
            self._members(i[leading], j[leading])
            i, j, _ = self._near(i, j, lower)
        first, second = self._members(i, j)
        used, others = np.unique(first, return_inverse=True), np.unique(second, return_inverse=True)
        boxes = [
            boxes_of(places, corners[chosen])
            for places, corners, chosen in zip(
                self._places,
                (self._regions.one.corners, self._regions.other.corners),
                (used[0], others[0]),
                strict=True,
            )
        ]
        return self._near(first, second, self._lower(boxes[0], boxes[1], used[1], others[1]))

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
            square = np.zeros((len(one[part]), len(self.frames)), np.float32)
            for mine, theirs in zip(*self._places, strict=True):
                apart = mine[one[part]] - theirs[other[part]]
                apart *= apart
                square += apart
            nearest = np.sqrt(square.min(axis=0, initial=np.inf)) + self._error
            np.minimum.at(self._bounds, self.runs, nearest)

    def _lower(self, one: Singles, other: Singles, i: Integers, j: Integers) -> Singles:
        """What the distances of boxes i and j (n,) of two lists are not below, (n, frames)."""
        found = np.empty((len(i), len(self.frames)), np.float32)
        for start in range(0, len(i), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            np.subtract(box_distances(one, other, i[part], j[part]), self._error, out=found[part])
        return found

    def _near(self, i: Integers, j: Integers, lower: Singles) -> tuple[Integers, Integers, Singles]:
        """The pairs that may be the nearest of a run in any frame; frames in which none may are left out from now
        on."""
        near = lower <= self._bounds[self.runs]
        rows, columns = np.asarray(near.any(axis=1)), np.asarray(near.any(axis=0))
        if 4 * columns.sum() > 3 * len(columns):
            return i[rows], j[rows], lower[rows]  # too few to leave out for moving the others together
        self.frames, self.runs = self.frames[columns], self.runs[columns]
        self._places = [np.ascontiguousarray(part[:, :, columns]) for part in self._places]
        self._boxes = [[np.ascontiguousarray(level[:, :, columns]) for level in boxes] for boxes in self._boxes]
        return i[rows], j[rows], lower[np.ix_(rows, columns)]
