"""Which point of one cloud is the mirror image of which point of another (or the same) cloud.

Three passes, each for what the ones before it left open: places that agree but for rounding, found by sorting; nearest
neighbours that choose each other; and, where places are ambiguous or further apart than the tolerance, agreement of the
neighbours along the edges. Every pass pairs points one to one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.spatial import cKDTree

from plica.mesh.arrays import Floats, Integers
from plica.mesh.weld import edge_keys, edges_of

Flags = NDArray[np.bool_]
CELLS = 1 << 20  # along the longest side of the box, for the first pass; three times 21 bits make a key
GRID = 128  # cells along the longest side of the box that put points in order before they are looked up
CLEARLY = 4.0  # how many times further the second candidate must be
LARGEST_FAN = 64  # neighbours; the centre of a larger fan tells nothing about which of them is which
MOST_ROUNDS = 256


@dataclass(frozen=True, eq=False)
class Cloud:
    """Points (p, 3) in metres and the triangles (t, 3) between them."""

    positions: Floats
    triangles: Integers


@dataclass(frozen=True, eq=False)
class Matching:
    """partners (p,): the target's point for each of the source's, -1 for none; distances (p,) metres, nan for none.

    `by_edges` (p,): whether the neighbours along the edges decided. `uneven_edges`: how many edges of the source lead
    to no edge of the target, among those whose ends both have partners.
    """

    partners: Integers
    distances: Floats
    by_edges: Flags
    uneven_edges: int


def match(source: Cloud, target: Cloud, tolerance: float, reach: float, *, same: bool = False) -> Matching:
    """The partners of the source's points, which are already mirrored into the target's place.

    `same`: the source is the target, mirrored, so that both ways are one. `tolerance` (metres): how far apart two
    places may be to count as one; `reach` (metres): how far apart partners may be that only the edges tell.
    """
    partners = np.full(len(source.positions), -1)
    taken = np.zeros(len(target.positions), bool)
    _take(partners, taken, *_same_place(source.positions, target.positions, tolerance))
    near = _nearest(source.positions, target.positions, partners, taken, tolerance, same)
    _take(partners, taken, *near)
    edges = edges_of(source.triangles)
    other_edges = edges if same else edges_of(target.triangles)
    leads = _leads(edges, other_edges, partners)
    by_edges = np.zeros(len(partners), bool)
    if (partners < 0).any() or (len(near[0]) and not leads.all()):
        reopened = _doubtful(near[0], edges, leads, partners)
        before, former = partners.copy(), partners[reopened]
        taken[former], partners[reopened] = False, -1
        settled = partners >= 0
        _along_edges(source.positions, target.positions, (edges, other_edges), partners, taken, tolerance, reach)
        again = (partners[reopened] < 0) & ~taken[former]
        _take(partners, taken, reopened[again], former[again])
        by_edges = ~settled & (partners >= 0)
        by_edges[reopened[again]] = False
        changed = before != partners
        touched = np.flatnonzero(changed[edges[:, 0]] | changed[edges[:, 1]])
        leads[touched] = _leads(edges[touched], other_edges, partners)
    distances = np.full(len(partners), np.nan)
    result = np.flatnonzero(partners >= 0)
    distances[result] = _lengths(source.positions[result] - target.positions[partners[result]])
    return Matching(partners, distances, by_edges, int(len(leads) - leads.sum()))


def _take(partners: Integers, taken: Flags, here: Integers, there: Integers) -> None:
    partners[here] = there
    taken[there] = True


def _lengths(vectors: Floats) -> Floats:
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", vectors, vectors)))


# ---- by place ---------------------------------------------------------------------------------------


def _same_place(source: Floats, target: Floats, tolerance: float) -> tuple[Integers, Integers]:
    """Pairs that are alone in the same cell of a fine grid."""
    if not len(source) or not len(target):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    (low, high), (other_low, other_high) = _box(source), _box(target)
    low, high = np.minimum(low, other_low), np.maximum(high, other_high)
    size = float((high - low).max()) / CELLS or 1.0
    middle = (low + high) / 2.0  # mirrored places round alike about the middle
    ours, own_order = _sorted_keys(source, middle, size)
    theirs, their_order = _sorted_keys(target, middle, size)
    place = np.minimum(np.searchsorted(theirs, ours), len(theirs) - 1)
    good = (theirs[place] == ours) & _alone(ours) & _alone(theirs)[place]
    here, there = own_order[good], their_order[place[good]]
    near = _lengths(source[here] - target[there]) <= tolerance
    return here[near], there[near]


def _sorted_keys(positions: Floats, middle: Floats, size: float) -> tuple[Integers, Integers]:
    x, y, z = (np.rint((positions[:, axis] - middle[axis]) / size).astype(np.int64) + CELLS for axis in range(3))
    keys = (x << 42) | (y << 21) | z
    order = np.argsort(keys, kind="stable")
    return keys[order], order


def _alone(ordered: Integers) -> Flags:
    """Whether no neighbour in a sorted list is the same."""
    alone = np.ones(len(ordered), bool)
    same = ordered[1:] == ordered[:-1]
    alone[1:] &= ~same
    alone[:-1] &= ~same
    return alone


def _nearest(
    source: Floats, target: Floats, partners: Integers, taken: Flags, tolerance: float, same: bool
) -> tuple[Integers, Integers]:
    """Pairs of free points that are each other's nearest within the tolerance, and clearly so."""
    here, there = np.flatnonzero(partners < 0), np.flatnonzero(~taken)
    if not len(here) or not len(there):
        return here[:0], there[:0]
    forward, clear = _closest(source[here], target[there], tolerance)
    backward, clear_back = (forward, clear) if same else _closest(target[there], source[here], tolerance)
    known = np.flatnonzero(clear)
    mutual = clear_back[forward[known]] & (backward[forward[known]] == known)
    known = known[mutual]
    return here[known], there[forward[known]]


def _closest(places: Floats, among: Floats, tolerance: float) -> tuple[Integers, Flags]:
    """The nearest of `among` for each place, and whether it is within the tolerance with no rival."""
    # In the order of a coarse grid, points that are near each other are near in memory: several times faster.
    order, asked = _grid_order(among), _grid_order(places)
    result = np.empty((len(places), 2), np.int64)
    distances = np.empty((len(places), 2))
    reach = tolerance * (1.0 + 1e-9)
    distances[asked], result[asked] = cKDTree(among[order]).query(places[asked], k=2, distance_upper_bound=reach)
    some = np.isfinite(distances[:, 0])
    clear = some & ~(distances[:, 1] <= CLEARLY * distances[:, 0])
    return order[np.where(some, result[:, 0], 0)], clear


def _box(positions: Floats) -> tuple[Floats, Floats]:
    """The least and the greatest of each coordinate (3,); column by column, which is several times faster."""
    columns = positions.T
    return np.array([column.min() for column in columns]), np.array([column.max() for column in columns])


def _grid_order(positions: Floats) -> Integers:
    low, high = _box(positions)
    size = float((high - low).max()) / GRID or 1.0
    x, y, z = ((positions - low) / size).astype(np.int64).T
    return np.argsort((x * (GRID + 1) + y) * (GRID + 1) + z, kind="stable")


# ---- by edges ---------------------------------------------------------------------------------------


def _leads(edges: Integers, other_edges: Integers, partners: Integers) -> Flags:
    """For each edge whose ends both have partners, whether the partners share an edge; true for the others."""
    one, other = partners[edges[:, 0]], partners[edges[:, 1]]
    keys = edge_keys(one, other)  # negative where a partner is missing
    known = edge_keys(other_edges[:, 0], other_edges[:, 1])
    if not len(known):
        return keys < 0
    order = np.argsort(keys)  # looking sorted keys up goes through the memory in one direction
    ordered = keys[order]
    if np.array_equal(ordered, known):  # the whole mesh mirrors
        return np.ones(len(keys), bool)
    place = np.minimum(np.searchsorted(known, ordered), len(known) - 1)
    leads = np.empty(len(keys), bool)
    leads[order] = (known[place] == ordered) | (ordered < 0)
    return leads


def _doubtful(near: Integers, edges: Integers, leads: Flags, partners: Integers) -> Integers:
    """Those of the points paired by nearness whose neighbours all speak against it."""
    count = len(partners)
    against = np.bincount(edges[~leads].ravel(), minlength=count)
    asked = np.zeros(count, bool)
    asked[near] = against[near] > 1
    if asked.any():
        agreeing = edges[leads & (asked[edges[:, 0]] | asked[edges[:, 1]])]
        asked[agreeing[(partners[agreeing] >= 0).all(axis=1)].ravel()] = False
    return np.flatnonzero(asked)


def _links(edges: Integers, free: Flags) -> tuple[Integers, Integers]:
    """Ends of the edges both ways round, those that start at a free point."""
    start, end = np.concatenate([edges[:, 0], edges[:, 1]]), np.concatenate([edges[:, 1], edges[:, 0]])
    return start[free[start]], end[free[start]]


def _along_edges(
    source: Floats,
    target: Floats,
    edges: tuple[Integers, Integers],
    partners: Integers,
    taken: Flags,
    tolerance: float,
    reach: float,
) -> None:
    """Pair what is left, ring by ring, where the partners of a point's neighbours are neighbours of one free point.

    A pair needs the most such neighbours on both sides; at the same number, the nearer place decides.
    """
    fans = np.bincount(edges[0].ravel(), minlength=len(partners)) > LARGEST_FAN
    ours, theirs = _links(edges[0], partners < 0), _links(edges[1], ~taken)
    for _ in range(MOST_ROUNDS):
        open_here, open_there = partners[ours[0]] < 0, ~taken[theirs[0]]
        known = open_here & (partners[ours[1]] >= 0) & ~fans[ours[1]]
        votes = _votes(ours[0][known], partners[ours[1][known]], theirs[0][open_there], theirs[1][open_there])
        row, column, count = votes
        apart = _lengths(source[row] - target[column])
        fits = np.flatnonzero(np.where(count > 1, apart <= reach, apart <= tolerance))
        row, column, count, apart = row[fits], column[fits], count[fits], apart[fits]
        best, best_back = _best(row, count, apart, len(partners)), _best(column, count, apart, len(taken))
        chosen = np.flatnonzero(best[row] == np.arange(len(row)))
        chosen = chosen[best_back[column[chosen]] == chosen]
        if not len(chosen):
            return
        _take(partners, taken, row[chosen], column[chosen])


def _votes(
    here: Integers, expected: Integers, there: Integers, neighbours: Integers
) -> tuple[Integers, Integers, NDArray[np.float32]]:
    """How often each pair of free points is meant.

    Point here[i] has a neighbour whose partner is expected[i]; point there[j] has the neighbour neighbours[j].
    Returns points, their candidates, and numbers of votes.
    """
    rows, row = np.unique(here, return_inverse=True)
    columns, column = np.unique(there, return_inverse=True)
    middle, between = np.unique(np.concatenate([expected, neighbours]), return_inverse=True)
    one = coo_array((np.ones(len(row), np.float32), (row, between[: len(row)])), shape=(len(rows), len(middle)))
    two = coo_array(
        (np.ones(len(column), np.float32), (between[len(row) :], column)), shape=(len(middle), len(columns))
    )
    result = (one.tocsr() @ two.tocsr()).tocoo()
    return rows[result.row], columns[result.col], result.data


def _best(group: Integers, votes: NDArray[np.float32], apart: Floats, count: int) -> Integers:
    """For each group the number of the entry with the most votes, the nearest of those."""
    order = np.lexsort((apart, -votes, group))
    first = np.ones(len(order), bool)
    first[1:] = group[order[1:]] != group[order[:-1]]
    result = np.full(count, -1)
    result[group[order[first]]] = order[first]
    return result
