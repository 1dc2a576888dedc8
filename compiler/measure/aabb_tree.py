"""A tree of boxes over triangles that keeps its shape while the triangles move."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from plica.measure.structure_of_arrays import Singles
from plica.mesh.arrays import Floats, Integers

LEAF = 8
"""Triangles in a leaf, at the most, unless others are asked for."""
# Numbers of one coordinate, pairs by frames, that are worked on at once: a few such arrays stay in a core's cache.
_NUMBERS = 1 << 16
Coordinate = TypeVar("Coordinate", np.float32, np.int16)


@dataclass(frozen=True, eq=False)
class AabbTree:
    """A balanced binary tree: leaves (k, m), the triangles of each leaf (the last repeated), k a power of two.

    points (k, n): the points of each leaf's triangles, repeated likewise. counts (k,): how many triangles are
    not repeats."""

    leaves: Integers
    counts: Integers
    points: Integers

    @property
    def depth(self) -> int:
        """Halvings from the root to the leaves."""
        return len(self.leaves).bit_length() - 1

    @cached_property
    def leaf_of(self) -> Integers:
        """The leaf of each triangle (t,)."""
        result = np.empty(int(self.counts.sum()), np.int64)
        held = np.arange(self.leaves.shape[1]) < self.counts[:, None]
        result[self.leaves[held]] = np.nonzero(held)[0]
        return result


def tree_over(middles: Floats, corners: Integers, most: int = LEAF) -> AabbTree:
    """A tree by halving the triangles' middles (t, 3) along the longest side of their box; corners (t, 3), t > 0;
    `most` triangles to a leaf."""
    count = len(middles)
    depth = max(0, int(np.ceil(np.log2(count / most))))
    order = np.arange(count)
    bounds = np.array([0, count])
    for _ in range(depth):
        group = np.repeat(np.arange(len(bounds) - 1), np.diff(bounds))
        placed = middles[order]
        sides = np.maximum.reduceat(placed, bounds[:-1]) - np.minimum.reduceat(placed, bounds[:-1])
        along = placed[np.arange(count), sides.argmax(axis=1)[group]]
        order = order[np.lexsort((along, group))]
        halves = (bounds[:-1] + bounds[1:] + 1) // 2
        bounds = np.append(np.stack([bounds[:-1], halves], axis=1).reshape(-1), count)
    counts = np.diff(bounds)
    slots = np.minimum(np.arange(counts.max()), counts[:, None] - 1)
    leaves = order[bounds[:-1, None] + slots]
    points = np.sort(corners[leaves].reshape(len(leaves), -1), axis=1)
    repeats = np.zeros(points.shape, bool)
    repeats[:, 1:] = points[:, 1:] == points[:, :-1]
    points = np.where(repeats, points[:, :1], points)
    points = np.sort(points, axis=1)[:, ::-1]
    width = int((~repeats).sum(axis=1).max())
    return AabbTree(leaves, counts, np.ascontiguousarray(points[:, :width]))


def boxes_of(places: NDArray[Coordinate], members: Integers) -> NDArray[Coordinate]:
    """Boxes round members (n, m) of places (3, p, frames): the largest of x, y, z, -x, -y, -z, (6, n, frames)."""
    result = np.empty((6, len(members), places.shape[2]), places.dtype)
    values = np.empty(result.shape[1:], places.dtype)
    for axis, (high, low) in enumerate(zip(result[:3], result[3:], strict=True)):
        _take(places[axis], members[:, 0], high)
        low[...] = high
        for column in members.T[1:]:
            _take(places[axis], column, values)
            np.maximum(high, values, out=high)
            np.minimum(low, values, out=low)
        np.negative(low, out=low)
    return result


def touching(boxes: NDArray[Coordinate], first: Integers, second: Integers) -> tuple[Integers, Integers]:
    """The pairs (n,) of boxes by their numbers that meet, and the frames in which they do, sorted."""
    frames = boxes.shape[2]
    met = [np.zeros(0, np.int64)]
    for start, part in _meeting(boxes, first, second):
        met.append(start * frames + np.flatnonzero(part))
    pair, frame = np.divmod(np.concatenate(met), frames)
    return pair, frame


def levels(leaf_boxes: NDArray[Coordinate]) -> list[NDArray[Coordinate]]:
    """The boxes of every level, root first."""
    result = [leaf_boxes]
    while result[-1].shape[1] > 1:
        result.append(np.maximum(result[-1][:, 0::2], result[-1][:, 1::2]))
    return result[::-1]


def meeting_leaves(boxes: list[NDArray[Coordinate]]) -> tuple[Integers, Integers]:
    """Pairs of different leaves, the smaller number first, whose boxes meet in any frame."""
    i = j = np.zeros(0, np.int64)
    for level in boxes[1:]:
        even = np.arange(0, level.shape[1], 2)
        # Children stay where their parents were, so that what is near in the tree is near in memory.
        i = np.concatenate([even, (2 * i[:, None] + [0, 0, 1, 1]).reshape(-1)])
        j = np.concatenate([even + 1, (2 * j[:, None] + [0, 1, 0, 1]).reshape(-1)])
        kept = np.zeros(len(i), bool)
        for start, part in _meeting(level, i, j):
            kept[start : start + len(part)] = part.any(axis=1)
        i, j = i[kept], j[kept]
    return i, j


def _meeting(boxes: NDArray[Coordinate], first: Integers, second: Integers) -> Iterator[tuple[int, NDArray[np.bool_]]]:
    """In which frames pairs of boxes meet, (m, frames) at a time, with the number of the first of them; the array is
    written anew each time."""
    frames = boxes.shape[2]
    at_once = max(1, _NUMBERS // max(1, frames))
    scratch = np.empty((3, min(at_once, len(first)), frames), boxes.dtype)
    for start in range(0, len(first), at_once):
        i, j = first[start : start + at_once], second[start : start + at_once]
        least, one, other = scratch[:, : len(i)]
        for axis in range(6):
            _take(boxes[axis], i, one)
            _take(boxes[(axis + 3) % 6], j, other)
            np.add(one, other, out=one if axis else least)
            if axis:
                np.minimum(least, one, out=least)
        yield start, least >= 0


def _take(rows: NDArray[Coordinate], which: Integers, out: NDArray[Coordinate]) -> None:
    """Rows by their numbers; the mode spares NumPy a copy, every number is one of a row."""
    rows.take(which, axis=0, out=out, mode="clip")


def members_between(one: AabbTree, other: AabbTree, i: Integers, j: Integers) -> tuple[Integers, Integers]:
    """All pairs of a triangle of leaf i of one tree and a triangle of leaf j of the other."""
    a, b = np.divmod(np.arange(one.leaves.shape[1] * other.leaves.shape[1]), other.leaves.shape[1])
    pair, slot = np.nonzero((a < one.counts[i][:, None]) & (b < other.counts[j][:, None]))
    return one.leaves[i[pair], a[slot]], other.leaves[j[pair], b[slot]]


def box_distances(one: Singles, other: Singles, first: Integers, second: Integers) -> Singles:
    """The distances of boxes, (n, frames): first and second (n,) are numbers of boxes in one and other."""
    total = np.zeros((len(first), one.shape[2]), np.float32)
    for axis in range(3):
        # Of the two ways to be beside each other along an axis one at most is a gap.
        gap = np.minimum(
            one[axis][first] + other[axis + 3][second],
            one[axis + 3][first] + other[axis][second],
        )
        np.minimum(gap, np.float32(0.0), out=gap)
        gap *= gap
        total += gap
    return np.sqrt(total, out=total)
