"""A tree of boxes over triangles that keeps its shape while the triangles move."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plica.mesh.model import Floats, Integers

Singles = NDArray[np.float32]

# Triangles in a leaf, at the most.
LEAF = 8
# Pairs of boxes tested at once.
_AT_ONCE = 1 << 12


@dataclass(frozen=True, eq=False)
class Tree:
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


def tree_over(middles: Floats, corners: Integers) -> Tree:
    """A tree by halving the triangles' middles (t, 3) along the longest side of their box; corners (t, 3), t > 0."""
    count = len(middles)
    depth = max(0, int(np.ceil(np.log2(count / LEAF))))
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
    most = int((~repeats).sum(axis=1).max())
    return Tree(leaves, counts, np.ascontiguousarray(points[:, :most]))


def boxes_of(places: Singles, members: Integers) -> Singles:
    """Boxes round members (n, m) of places (3, p, frames): the largest of x, y, z, -x, -y, -z, (6, n, frames)."""
    found = np.empty((6, len(members), places.shape[2]), np.float32)
    for axis in range(3):
        high, low = places[axis][members[:, 0]], places[axis][members[:, 0]]
        for column in members.T[1:]:
            values = places[axis][column]
            np.maximum(high, values, out=high)
            np.minimum(low, values, out=low)
        found[axis] = high
        np.negative(low, out=found[axis + 3])
    return found


def touching(one: Singles, other: Singles, first: Integers, second: Integers) -> NDArray[np.bool_]:
    """In which frames boxes meet, (n, frames): first and second (n,) are numbers of boxes in one and other."""
    found = np.empty((len(first), one.shape[2]), bool)
    for start in range(0, len(first), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        i, j = first[part], second[part]
        least = one[0][i] + other[3][j]
        for axis in range(1, 6):
            np.minimum(least, one[axis][i] + other[(axis + 3) % 6][j], out=least)
        np.greater_equal(least, 0.0, out=found[part])
    return found


def levels(leaf_boxes: Singles) -> list[Singles]:
    """The boxes of every level, root first."""
    found = [leaf_boxes]
    while found[-1].shape[1] > 1:
        found.append(np.maximum(found[-1][:, 0::2], found[-1][:, 1::2]))
    return found[::-1]


def meeting_leaves(boxes: list[Singles]) -> tuple[Integers, Integers]:
    """Pairs of different leaves, the smaller number first, whose boxes meet in any frame."""
    i = j = np.zeros(1, np.int64)
    for level in boxes[1:]:
        same = i == j
        one, other = i[~same], j[~same]
        i = np.concatenate([2 * i[same], 2 * i[same], 2 * i[same] + 1, *(2 * one + step for step in (0, 0, 1, 1))])
        j = np.concatenate(
            [2 * j[same], 2 * j[same] + 1, 2 * j[same] + 1, *(2 * other + step for step in (0, 1, 0, 1))]
        )
        kept = i == j
        different = np.flatnonzero(~kept)
        kept[different] = touching(level, level, i[different], j[different]).any(axis=1)
        i, j = i[kept], j[kept]
    return i[i != j], j[i != j]


def meeting_between(one: list[Singles], other: list[Singles]) -> tuple[Integers, Integers]:
    """Pairs of a leaf of one tree and a leaf of another, whose boxes meet in any frame."""
    i = j = np.zeros(1, np.int64)
    for step in range(max(len(one), len(other))):
        first, second = one[min(step, len(one) - 1)], other[min(step, len(other) - 1)]
        if 0 < step < len(one):
            i, j = np.concatenate([2 * i, 2 * i + 1]), np.concatenate([j, j])
        if 0 < step < len(other):
            i, j = np.concatenate([i, i]), np.concatenate([2 * j, 2 * j + 1])
        kept = touching(first, second, i, j).any(axis=1)
        i, j = i[kept], j[kept]
    return i, j
