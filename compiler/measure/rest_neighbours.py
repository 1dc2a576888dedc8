"""Which triangles belong together, because the way between them along the skin is short.

Wherever skin bends, places near the crease come near each other; that is no lack of clearance. Two places a way g apart
along a fold that closes to the angle t come to g sin(t / 2) of each other (elementary geometry, a way of g / 2 on
either side), so a clearance c that must hold between places at least `FOLD` times c apart along the skin is broken
exactly by folds sharper than 2 asin(1 / FOLD), 29 degrees, and by what comes near from elsewhere. The ways are
measured along edges, which can only be longer than straight ones: pairs are left out a little too seldom, never too
often.
"""

from __future__ import annotations

import numpy as np
from scipy import sparse
from scipy.spatial import cKDTree

from plica.measure.edge_paths import paths
from plica.measure.region_faces import Faces
from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseTruths
from plica.mesh.weld import edges_of

FOLD = 4.0
"""How many clearances places have to be apart along the skin to be held against each other."""


def together(whole: Faces, one: Faces, other: Faces, rest: Floats, short: float) -> Integers:
    """Pairs of triangles that share a point, or have corners no further than `short` metres from each other along the
    skin.

    i t + j for triangle i of one and j of the t of other, rising; `whole`: all triangles; rest (v, 3). Shorter ways
    than those along edges are not known.
    """
    near = _points_near(whole, one, other, rest, short)
    first, second = (_of_points(part, whole) for part in (one, other))
    pairs = sparse.coo_array(first @ near @ second.T)
    result: Integers = np.unique(pairs.row.astype(np.int64) * len(other.corners) + pairs.col)
    return result


def _of_points(part: Faces, whole: Faces) -> SparseTruths:
    """Which points of the whole each triangle of a part has, (t, p)."""
    points = np.searchsorted(whole.vertices, part.corner_vertices).reshape(-1)
    rows = np.repeat(np.arange(len(part.corners)), 3)
    shape = (len(part.corners), len(whole.vertices))
    return sparse.csr_array((np.ones(len(rows), bool), (rows, points)), shape=shape)


def _points_near(whole: Faces, one: Faces, other: Faces, rest: Floats, short: float) -> SparseTruths:
    """Which points (p, p) of the whole are within `short` metres of each other along its edges, each with itself."""
    count = len(whole.vertices)
    own = sparse.csr_array(sparse.eye_array(count, dtype=bool))
    if short <= 0.0:
        return own
    places = rest[whole.vertices]
    # A way between the regions that is short enough leaves neither's neighbourhood.
    local = np.arange(count)
    for part in (one, other):
        nearest, _ = cKDTree(rest[part.vertices]).query(places[local], distance_upper_bound=np.nextafter(short, np.inf))
        local = local[nearest <= short]
    if not len(local):
        return own
    edges = edges_of(whole.corners)
    slots = np.full(count, -1)
    slots[local] = np.arange(len(local))
    edges = slots[edges[(slots[edges] >= 0).all(axis=1)]]
    ways = sparse.coo_array(paths(places[local], edges, short))
    at = (local[ways.row], local[ways.col])
    return sparse.csr_array(own + sparse.csr_array((np.ones(len(at[0]), bool), at), shape=(count, count)))
