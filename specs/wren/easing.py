"""Skin that gives way: it slides and lifts around a bent joint until its triangles are as little drawn as they can be.

The surface is made as rigid as possible (O. Sorkine, M. Alexa, "As-rigid-as-possible surface modeling", SGP 2007, with
equal weights of all edges), held at its border, and held softly, square to itself, where it must keep its height.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from plica.picture.directions import Floats, Integers
from plica.specs.wren.model import DemoModel

ROUNDS: Final = 40
HOLD: Final = 0.005
"""How much all skin is held to where it was, against 1 for an edge that keeps its shape."""
_FIXED: Final = 1e6
_LEAST: Final = 1e-3


def eased(model: DemoModel, positions: Floats, normals: Floats, free: Floats, height: Floats) -> Floats:
    """Moves (n, 3), metres, that relax a posed skin at these positions (n, 3).

    free (n,): from 0, stays where it is, to 1, gives way; height (n,): how firmly, against 1 for an edge that keeps its
    shape, skin keeps its place along `normals` (n, 3), or whatever unit directions stand there.
    """
    first = _first_of_places(model)
    used, start, stop = _edges(model, free[first])
    vertices = first[used]
    before, share, across = positions[vertices], free[vertices], normals[vertices]
    rest = model.positions[vertices][start] - model.positions[vertices][stop]
    heads = np.flatnonzero(np.concatenate([[True], np.diff(start) > 0]))
    held = np.where(share > 0.0, HOLD + (1.0 - share) ** 2 / np.maximum(share, _LEAST), _FIXED)
    blocks = held[:, None, None] * np.eye(3)
    blocks += height[vertices][:, None, None] * across[:, :, None] * across[:, None, :]
    count = len(vertices)
    degrees = np.bincount(start, minlength=count).astype(np.float64)
    links = sparse.csr_array((np.ones(len(start)), (start, stop)), shape=(count, count))
    laplacian = sparse.diags_array(degrees) - links
    system = sparse.kron(2.0 * laplacian, np.eye(3)) + sparse.block_diag(list(blocks))
    solve = splu(sparse.csc_array(system)).solve
    target = np.einsum("nij,nj->ni", blocks, before)
    places = before
    for _ in range(ROUNDS):
        turns = _rotations(rest, places[start] - places[stop], heads)
        wanted = np.add.reduceat(np.einsum("eij,ej->ei", turns[start] + turns[stop], rest), heads)
        places = solve((wanted + target).ravel()).reshape(-1, 3)
    moves = np.zeros((len(first), 3))
    moves[used] = places - before
    result: Floats = moves[model.welded]
    return result


def _first_of_places(model: DemoModel) -> Integers:
    """The first vertex of each place."""
    result: Integers = np.unique(model.welded, return_index=True)[1]
    return result


def _edges(model: DemoModel, free: Floats) -> tuple[Integers, Integers, Integers]:
    """The places at edges with an end that is free; the two ends of these edges, as rows of those places, both ways,
    sorted by the first."""
    corners = model.welded[model.triangles]
    sides = np.concatenate([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]])
    edges = np.unique(np.sort(sides, axis=1), axis=0)
    edges = edges[(edges[:, 0] != edges[:, 1]) & (free[edges] > 0.0).any(axis=1)]
    used, rows = np.unique(edges, return_inverse=True)
    rows = rows.reshape(-1, 2)
    both = np.concatenate([rows, rows[:, ::-1]])
    both = both[np.lexsort((both[:, 1], both[:, 0]))]
    return used, both[:, 0], both[:, 1]


def _rotations(rest: Floats, posed: Floats, heads: Integers) -> Floats:
    """For each place the rotation (3, 3) that takes its edges at rest nearest to those posed (both (e, 3))."""
    products = np.add.reduceat(rest[:, :, None] * posed[:, None, :], heads)
    left, _, right = np.linalg.svd(products)
    signs = np.ones((len(products), 3))
    signs[:, 2] = np.sign(np.linalg.det(left @ right))
    result: Floats = np.einsum("nij,nj,njk->nki", left, signs, right)
    return result
