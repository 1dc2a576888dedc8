"""Distances along the surface, to the line where a weight crosses a level.

Why not a geodesic package: potpourri3d 1.4.0 refuses every mesh that has an edge with three triangles or a
point without any, and its fast marching forgets one neighbour of a point on an open border (on a single
triangle it finds 2.41 for a distance of 1); pygeodesic 0.1.11 ends the whole process on an edge with three
triangles. Welded characters have all of these at eyelids, mouths and layered skin. So this is
`scipy.sparse.csgraph.dijkstra` over a graph finer than the mesh: each edge near the line carries `STEPS`
extra points, and all the points round a triangle are joined across it (Lanthier, Maheshwari and Sack,
"Approximating weighted shortest paths on polyhedral surfaces", SCG 1997). It works on any set of triangles.
The distance is never too short and at most `OVERESTIMATE` too long on triangles without very sharp corners
(tests/outside/test_surface_distances.py measures it against closed forms).
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from plica.mesh.arrays import Floats, Integers
from plica.mesh.weld import edges_of

STEPS: Final = 3
OVERESTIMATE: Final = 0.03
"""The largest share by which a distance comes out too long."""


class _Net(NamedTuple):
    """Triangles with extra points on their edges: places (n, 3), the points round each triangle (t, 3 + 3
    STEPS), and the pairs (k, 2) of neighbours along edges.
    """

    places: Floats
    around: Integers
    along: Integers


def distance_to_level(positions: Floats, triangles: Integers, values: Floats, level: float, limit: float) -> Floats:
    """How far (p,) each point is from the line where `values` crosses `level`, along the surface, in metres.

    positions (p, 3) metres; triangles (t, 3); values (p,), linear inside each triangle; a point at `level`
    counts as above it. Infinity beyond `limit` (metres) and where no line can be reached. A mesh mirrored
    across a plane through 0 gives the same bits.
    """
    distances = np.full(len(positions), np.inf)
    triangles = _open(triangles)
    above = values >= level
    crossed = _is_crossed(above, triangles)
    if not crossed.any():
        return distances
    near = _once(triangles[_nearby(positions, triangles, crossed, limit)])
    points, local = np.unique(near, return_inverse=True)
    local = local.reshape(-1, 3)
    net = _net(positions[points], local)
    starts = _distances_in_crossed(net, local, values[points] - level, _is_crossed(above[points], local))
    distances[points] = _spread(net, starts, limit)[: len(points)]
    return distances


def _open(triangles: Integers) -> Integers:
    """Those without the triangles that name a point twice."""
    a, b, c = triangles.T
    different = (a != b) & (b != c) & (c != a)
    return triangles if different.all() else np.asarray(triangles[different])


def _once(triangles: Integers) -> Integers:
    """Each triangle once."""
    a, b, c = np.sort(triangles, axis=1).T.astype(np.int64)
    pair = a * (int(triangles.max(initial=0)) + 1) + b
    order = np.lexsort((c, pair))  # equal ones keep their order; far quicker than `numpy.unique` of rows
    pair, c = pair[order], c[order]
    first = np.ones(len(triangles), dtype=np.bool_)
    first[1:] = (pair[1:] != pair[:-1]) | (c[1:] != c[:-1])
    return np.asarray(triangles[np.sort(order[first])])


def _is_crossed(above: NDArray[np.bool_], triangles: Integers) -> NDArray[np.bool_]:
    count = above[triangles].sum(axis=1)
    return np.asarray((count == 1) | (count == 2))


def _nearby(positions: Floats, triangles: Integers, crossed: NDArray[np.bool_], limit: float) -> NDArray[np.bool_]:
    """Which triangles a path of this length from the line can reach: no path is shorter than the straight
    way, and the line lies within an edge's length of a corner of the crossed triangles.
    """
    corners = positions[triangles[crossed]]
    longest = float(_length(corners - np.roll(corners, 1, axis=1)).max())
    starts, reach = positions[np.unique(triangles[crossed])], limit + longest
    within = ((positions >= starts.min(axis=0) - reach) & (positions <= starts.max(axis=0) + reach)).all(axis=1)
    beside = np.flatnonzero(within)
    away = cKDTree(starts).query(positions[beside], distance_upper_bound=reach)[0]
    within[beside] = np.isfinite(away)
    return np.asarray(within[triangles].any(axis=1))


def _net(positions: Floats, triangles: Integers) -> _Net:
    edges = edges_of(triangles)
    shares = np.arange(1, STEPS + 1) / (STEPS + 1)
    # Written so that swapping an edge's ends gives the same bits.
    inner = (1.0 - shares)[:, None] * positions[edges[:, :1]] + shares[:, None] * positions[edges[:, 1:]]
    places = np.concatenate([positions, inner.reshape(-1, 3)])
    numbers = len(positions) + np.arange(len(edges) * STEPS).reshape(-1, STEPS)
    chains = np.column_stack([edges[:, 0], numbers, edges[:, 1]])
    along = np.concatenate([chains[:, step : step + 2] for step in range(STEPS + 1)])
    sides = np.sort(np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2), axis=2)
    count = len(positions)
    rows = np.searchsorted(edges[:, 0] * count + edges[:, 1], sides[..., 0] * count + sides[..., 1])
    return _Net(places, np.column_stack([triangles, numbers[rows].reshape(len(triangles), -1)]), along)


def _across() -> Integers:
    """Which of the points round a triangle see each other across it: those on no common edge."""
    on: list[set[int]] = [{0, 2}, {0, 1}, {1, 2}] + [{side} for side in range(3) for _ in range(STEPS)]
    pairs = [(a, b) for a in range(len(on)) for b in range(a) if not on[a] & on[b]]
    return np.array(pairs, dtype=np.int64)


def _distances_in_crossed(net: _Net, triangles: Integers, values: Floats, crossed: NDArray[np.bool_]) -> Floats:
    """For all points of the net (n,): the distance to the line inside the crossed triangles they belong to."""
    starts = np.full(len(net.places), np.inf)
    corners, heights = net.places[triangles[crossed]], values[triangles[crossed]]
    above = heights >= 0.0
    # The corner that stands alone on its side; the line crosses the two edges that leave it.
    alone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), (~above).argmax(axis=1))
    rows = np.arange(len(corners))
    ends = [_crossing(corners, heights, rows, alone, (alone + turn) % 3) for turn in (1, 2)]
    around = net.around[crossed]
    points = net.places[around]
    reach = np.minimum(_to_segment(points, ends[0], ends[1]), _to_segment(points, ends[1], ends[0]))
    np.minimum.at(starts, around.ravel(), reach.ravel())
    return starts


def _crossing(corners: Floats, heights: Floats, rows: Integers, one: Integers, other: Integers) -> Floats:
    """Where the line crosses the edges between two corners each, (n, 3); the same bits with the corners
    swapped.
    """
    low, high = heights[rows, one, None], heights[rows, other, None]
    return np.asarray((high * corners[rows, one] - low * corners[rows, other]) / (high - low))


def _to_segment(points: Floats, start: Floats, end: Floats) -> Floats:
    """Distances (n, k) of points (n, k, 3) to segments (n, 3)."""
    way = (end - start)[:, None, :]
    square = np.sum(way * way, axis=2)
    along = np.sum((points - start[:, None, :]) * way, axis=2)
    share = np.clip(np.divide(along, square, out=np.zeros_like(along), where=square > 0.0), 0.0, 1.0)
    return _length(points - start[:, None, :] - share[..., None] * way)


def _length(vectors: Floats) -> Floats:
    return np.asarray(np.sqrt(np.sum(vectors * vectors, axis=-1)))


def _spread(net: _Net, starts: Floats, limit: float) -> Floats:
    """Distances (n,) when each point of the net starts with one already."""
    pairs = np.concatenate([net.along, net.around[:, _across()].reshape(-1, 2)])
    lengths = _length(net.places[pairs[:, 0]] - net.places[pairs[:, 1]])
    seeds = np.flatnonzero(np.isfinite(starts))
    root = len(net.places)  # a point before all others, from which each start is as far as it starts with
    rows = np.concatenate([pairs[:, 0], np.full(len(seeds), root)])
    columns = np.concatenate([pairs[:, 1], seeds])
    graph = csr_array((np.concatenate([lengths, starts[seeds]]), (rows, columns)), shape=(root + 1, root + 1))
    result = dijkstra(graph, directed=False, indices=[root], limit=limit)[0]
    return np.asarray(result[:root])
