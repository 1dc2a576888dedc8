"""Whole pieces of a mesh that mirror each other once they are moved.

A body that is put together of pieces (armour, a machine's limbs) often mirrors piece by piece, each a little beside
where the plane has it. None of its points lies where a partner should, so that neither places nor edges tell; the
piece as a whole does.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from plica.mesh.arrays import Floats, Integers
from plica.mesh.weld import edges_of

MOST_PAIRED: Final = 0.5
"""A piece with more of its points paired stands where the plane has it."""
FEWEST: Final = 8  # points; fewer look like any others
CLEARLY: Final = 2.0  # how many times further the next piece like it must be
_MOST_PIECES: Final = 4096  # loose ones that are looked at
_ROUNDS: Final = 24


class Moved(NamedTuple):
    """Points of pieces that mirror each other once they are moved, and the partner of each."""

    points: Integers
    partners: Integers


def moved_pieces(
    mirrored: Floats, positions: Floats, triangles: Integers, partners: Integers, limits: tuple[float, float]
) -> Moved:
    """Pairs of the points of loose pieces, one to one and the same both ways.

    mirrored, positions (p, 3): the points across the plane, and as they are; partners (p,): what is known, -1 for none;
    limits: how far (metres) a point may be from its partner's mirror image once its piece is moved and turned, and how
    far that may be moved. Two pieces, or one and itself, belong together where they have as many points, none like them
    is nearly as near, and all their points find each other.
    """
    pieces = _loose(triangles, partners)
    found: list[Moved] = []
    for first, second in _candidates(pieces, mirrored, positions, limits[1]):
        pair = _fitted(pieces[first], pieces[second], mirrored, positions, limits[0])
        if pair is not None:
            found += [pair] if first == second else [pair, Moved(pair.partners, pair.points)]
    nothing = np.zeros(0, np.int64)
    return Moved(
        np.concatenate([nothing, *(pair.points for pair in found)]),
        np.concatenate([nothing, *(pair.partners for pair in found)]),
    )


def _loose(triangles: Integers, partners: Integers) -> list[Integers]:
    """The points of each piece most of whose points have no partner."""
    count = len(partners)
    edges = edges_of(triangles)
    graph = coo_array((np.ones(len(edges), np.int8), (edges[:, 0], edges[:, 1])), shape=(count, count))
    _, piece = connected_components(graph, directed=False)
    sizes = np.bincount(piece)
    paired = np.bincount(piece, weights=(partners >= 0).astype(np.float64))
    loose = np.flatnonzero((sizes >= FEWEST) & (paired < MOST_PAIRED * sizes))[:_MOST_PIECES]
    order = np.argsort(piece, kind="stable")
    starts = np.cumsum(sizes) - sizes
    return [order[starts[one] : starts[one] + sizes[one]] for one in loose.tolist()]


def _candidates(pieces: list[Integers], mirrored: Floats, positions: Floats, reach: float) -> Iterator[tuple[int, int]]:
    """Pieces with as many points and their middles within reach, each pair once, where none other is nearly as near."""
    if not pieces:
        return
    there = np.array([mirrored[piece].mean(axis=0) for piece in pieces])
    here = np.array([positions[piece].mean(axis=0) for piece in pieces])
    near = cKDTree(here).query_ball_point(there, reach)
    ranked = [
        sorted(
            (float(np.linalg.norm(there[first] - here[second])), second)
            for second in seconds
            if len(pieces[first]) == len(pieces[second])
        )
        for first, seconds in enumerate(near)
    ]
    chosen = [
        ranks[0][1] if ranks and (len(ranks) == 1 or ranks[1][0] > CLEARLY * ranks[0][0]) else -1 for ranks in ranked
    ]
    for first, second in enumerate(chosen):
        if first <= second and chosen[second] == first:
            yield first, second


def _fitted(first: Integers, second: Integers, mirrored: Floats, positions: Floats, tolerance: float) -> Moved | None:
    """The first piece's points and their partners in the second, moved onto it; None where not all find each other.

    Nearest points tell how it has yet to be moved (iterative closest point, Besl and McKay 1992).
    """
    there = mirrored[first] - mirrored[first].mean(axis=0)
    here = positions[second] - positions[second].mean(axis=0)
    tree = cKDTree(here)
    for _ in range(_ROUNDS):
        distances, nearest = (np.asarray(part) for part in tree.query(there))
        if distances.max() <= tolerance:
            break
        there = there @ _turn(there, here[nearest])
        there += (here[nearest] - there).mean(axis=0)
    else:
        return None
    if len(np.unique(nearest)) != len(second):
        return None
    if first is second and not np.array_equal(nearest[nearest], np.arange(len(first))):
        return None
    return Moved(first, second[nearest])


def _turn(there: Floats, here: Floats) -> Floats:
    """The rotation R (3, 3) with which there @ R comes nearest to here (Kabsch 1976), both about their middles."""
    left, _, right = np.linalg.svd((there - there.mean(axis=0)).T @ (here - here.mean(axis=0)))
    signs = np.array([1.0, 1.0, np.sign(np.linalg.det(left @ right))])
    return np.asarray((left * signs) @ right)
