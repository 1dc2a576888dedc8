"""Which point of one cloud is the mirror image of which point of another (or the same) cloud.

Three passes, each for what the ones before it left open: places that agree but for rounding, found by sorting; nearest
neighbours that choose each other; and, where places are ambiguous or further apart than the tolerance, agreement of the
neighbours along the edges. Every pass pairs points one to one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array
from scipy.spatial import cKDTree

from plica.mesh.model import Floats, Integers
from plica.mesh.weld import edge_keys, edges_of

Flags = NDArray[np.bool_]
CELLS = 1 << 20  # along the longest side of the box, for the first pass; three times 21 bits make a key
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


def match(source: Cloud, target: Cloud, tolerance: float, reach: float) -> Matching:
    """The partners of the source's points, which are already mirrored into the target's place.

    `tolerance` (metres): how far apart two places may be to count as one; `reach` (metres): how far apart partners may
    be that only the edges tell.
    """
    partners = np.full(len(source.positions), -1)
    taken = np.zeros(len(target.positions), bool)
    _take(partners, taken, *_same_place(source.positions, target.positions, tolerance))
    near = _nearest(source.positions, target.positions, partners, taken, tolerance)
    _take(partners, taken, *near)
    edges = edges_of(source.triangles)
    other_edges = edges if source.triangles is target.triangles else edges_of(target.triangles)
    leads = _leads(edges, other_edges, partners)
    by_edges = np.zeros(len(partners), bool)
    if (partners < 0).any() or (len(near[0]) and not leads.all()):
        reopened = _doubtful(near[0], edges, leads, partners)
        former = partners[reopened]
        taken[former], partners[reopened] = False, -1
        settled = partners >= 0
        ways = _links(edges, len(partners)), _links(other_edges, len(taken))
        _along_edges(source.positions, target.positions, ways, partners, taken, tolerance, reach)
        again = (partners[reopened] < 0) & ~taken[former]
        _take(partners, taken, reopened[again], former[again])
        by_edges = ~settled & (partners >= 0)
        by_edges[reopened[again]] = False
        leads = _leads(edges, other_edges, partners)
    distances = np.full(len(partners), np.nan)
    found = np.flatnonzero(partners >= 0)
    distances[found] = _lengths(source.positions[found] - target.positions[partners[found]])
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
    low = np.minimum(source.min(axis=0), target.min(axis=0))
    high = np.maximum(source.max(axis=0), target.max(axis=0))
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
    source: Floats, target: Floats, partners: Integers, taken: Flags, tolerance: float
) -> tuple[Integers, Integers]:
    """Pairs of free points that are each other's nearest within the tolerance, and clearly so."""
    here, there = np.flatnonzero(partners < 0), np.flatnonzero(~taken)
    if not len(here) or not len(there):
        return here[:0], there[:0]
    forward, clear = _closest(source[here], target[there], tolerance)
    backward, clear_back = _closest(target[there], source[here], tolerance)
    known = np.flatnonzero(clear)
    mutual = clear_back[forward[known]] & (backward[forward[known]] == known)
    known = known[mutual]
    return here[known], there[forward[known]]


def _closest(places: Floats, among: Floats, tolerance: float) -> tuple[Integers, Flags]:
    """The nearest of `among` for each place, and whether it is within the tolerance with no rival."""
    distances, found = cKDTree(among).query(places, k=2, distance_upper_bound=tolerance * (1.0 + 1e-9))
    rival = np.minimum(distances[:, 1], np.inf)
    clear = np.isfinite(distances[:, 0]) & (~np.isfinite(rival) | (rival > CLEARLY * distances[:, 0]))
    return np.where(np.isfinite(distances[:, 0]), found[:, 0], 0), clear


# ---- by edges ---------------------------------------------------------------------------------------


def _leads(edges: Integers, other_edges: Integers, partners: Integers) -> Flags:
    """For each edge whose ends both have partners, whether the partners share an edge; true for the others."""
    one, other = partners[edges[:, 0]], partners[edges[:, 1]]
    keys = edge_keys(one, other)  # negative where a partner is missing
    known = edge_keys(other_edges[:, 0], other_edges[:, 1])
    ordered = np.sort(keys)
    if np.array_equal(ordered, known):  # the whole mesh mirrors
        return np.ones(len(keys), bool)
    if not len(known):
        return keys < 0
    place = np.minimum(np.searchsorted(known, keys), len(known) - 1)
    return np.asarray((known[place] == keys) | (keys < 0))


def _doubtful(near: Integers, edges: Integers, leads: Flags, partners: Integers) -> Integers:
    """Those of the points paired by nearness whose neighbours all speak against it."""
    known = (partners[edges] >= 0).all(axis=1)
    count = len(partners)
    speak = np.bincount(edges[known].ravel(), minlength=count)
    agree = np.bincount(edges[known & leads].ravel(), minlength=count)
    return near[(speak[near] > 1) & (agree[near] == 0)]


def _links(edges: Integers, count: int) -> csr_array:
    both = np.concatenate([edges, edges[:, ::-1]])
    return coo_array((np.ones(len(both), np.float32), (both[:, 0], both[:, 1])), shape=(count, count)).tocsr()


def _along_edges(
    source: Floats,
    target: Floats,
    ways: tuple[csr_array, csr_array],
    partners: Integers,
    taken: Flags,
    tolerance: float,
    reach: float,
) -> None:
    """Pair what is left, ring by ring, where the partners of a point's neighbours are neighbours of one free point.

    A pair needs the most such neighbours on both sides; at the same number, the nearer place decides.
    """
    useful = np.diff(ways[0].indptr) <= LARGEST_FAN
    for _ in range(MOST_ROUNDS):
        here, there = np.flatnonzero(partners < 0), np.flatnonzero(~taken)
        if not len(here) or not len(there):
            return
        own = ways[0][here].tocoo()
        known = (partners[own.col] >= 0) & useful[own.col]
        votes_of = coo_array(
            (own.data[known], (own.row[known], partners[own.col[known]])), shape=(len(here), len(taken))
        ).tocsr()
        pairs = (votes_of @ ways[1][:, there]).tocoo()
        row, column, votes = pairs.row, pairs.col, pairs.data
        apart = _lengths(source[here[row]] - target[there[column]])
        fits = np.where(votes > 1, apart <= reach, apart <= tolerance)
        row, column, votes, apart = row[fits], column[fits], votes[fits], apart[fits]
        if not len(row):
            return
        best, best_back = _best(row, votes, apart, len(here)), _best(column, votes, apart, len(there))
        chosen = np.flatnonzero(best[row] == np.arange(len(row)))
        chosen = chosen[best_back[column[chosen]] == chosen]
        if not len(chosen):
            return
        _take(partners, taken, here[row[chosen]], there[column[chosen]])


def _best(group: Integers, votes: NDArray[np.float32], apart: Floats, count: int) -> Integers:
    """For each group the number of the entry with the most votes, the nearest of those."""
    order = np.lexsort((apart, -votes, group))
    first = np.ones(len(order), bool)
    first[1:] = group[order[1:]] != group[order[:-1]]
    found = np.full(count, -1)
    found[group[order[first]]] = order[first]
    return found
