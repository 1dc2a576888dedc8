"""Ways along the edges of a mesh."""

from __future__ import annotations

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import dijkstra

from plica.measure.aabb_tree import tree_over
from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseFloats

_SOURCES = 256


def paths(rest: Floats, edges: Integers, longest: float) -> SparseFloats:
    """The lengths of the shortest ways along edges (e, 2), metres (p, p), up to the longest; others are not stored.
    rest (p, 3)."""
    lengths = np.linalg.norm(rest[edges[:, 1]] - rest[edges[:, 0]], axis=1)
    # An edge without length would read as no edge at all.
    lengths = np.maximum(lengths, 1e-12 * lengths.max(initial=1.0))
    graph = sparse.csr_array((lengths, (edges[:, 0], edges[:, 1])), shape=(len(rest), len(rest)))
    order = _neighbours_together(rest)
    rows, columns, values = [], [], []
    for start in range(0, len(order), _SOURCES):
        sources = order[start : start + _SOURCES]
        low, high = rest[sources].min(axis=0) - longest, rest[sources].max(axis=0) + longest
        local = np.flatnonzero(((rest >= low) & (rest <= high)).all(axis=1))
        starts = np.searchsorted(local, sources)
        result = dijkstra(graph[local][:, local], directed=False, indices=starts, limit=longest)
        row, column = np.nonzero(result <= longest)
        rows.append(sources[row])
        columns.append(local[column])
        values.append(result[row, column])
    at = (np.concatenate(rows), np.concatenate(columns))
    return sparse.csr_array((np.concatenate(values), at), shape=(len(rest), len(rest)))


def _neighbours_together(rest: Floats) -> Integers:
    """An order in which neighbours come close to each other."""
    order: Integers = np.concatenate(list(tree_over(rest, np.zeros((len(rest), 3), np.int64)).leaves))
    return order[np.sort(np.unique(order, return_index=True)[1])]
