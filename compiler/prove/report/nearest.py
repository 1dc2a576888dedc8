"""The two nearest places of two regions, to be shown; how near they are is measured in `plica.measure.clearance`."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from plica.kinds.expectations import BORDER
from plica.measure.distance import distances
from plica.measure.region_faces import Faces, faces_of, without
from plica.mesh.arrays import Floats, Integers, Mesh

CLOSEST: Final = 16
"""Points of a region around whose triangles the nearest places are sought."""
ROUNDS: Final = 200


def nearest_places(mesh: Mesh, one: Floats, other: Floats, positions: Floats, border: float = BORDER) -> Floats | None:
    """Two places (2, 3), one on each of the regions with weights (v,), at positions (v, 3).

    None where a region has no triangles of its own, or all share points. Looked for around the points that are
    nearest to the other region, so that in rare layouts another pair of places may be a little nearer.
    """
    first = faces_of(mesh, one, border)
    second = without(faces_of(mesh, other, border), first)
    if not len(first.corners) or not len(second.corners):
        return None
    near = _around(first, positions, positions[second.vertices]), _around(second, positions, positions[first.vertices])
    i, j = (part.ravel() for part in np.meshgrid(*near, indexing="ij"))
    corners, others = first.corner_vertices[i], second.corner_vertices[j]
    apart = ~(corners[:, :, None] == others[:, None, :]).any(axis=(1, 2))
    if not apart.any():
        return None
    a, b = positions[corners[apart]], positions[others[apart]]
    best = int(distances(a, b).argmin())
    return _nearest_of(a[best], b[best])


def _around(faces: Faces, positions: Floats, others: Floats) -> Integers:
    """The triangles, by their row, at the points that are nearest to other points (n, 3)."""
    away = np.asarray(cKDTree(others).query(positions[faces.vertices])[0])
    closest = np.argsort(away, kind="stable")[:CLOSEST]
    return np.flatnonzero(np.isin(faces.corners, closest).any(axis=1))


def _nearest_of(one: Floats, other: Floats) -> Floats:
    """The nearest places (2, 3) of two triangles (3, 3), by projecting to and fro between them, which converges for
    convex sets (W. Cheney, A. Goldstein, "Proximity maps for convex sets", 1959)."""
    place = one.mean(axis=0)
    there = nearest_on(other, place)
    for _ in range(ROUNDS):
        place = nearest_on(one, there)
        there = nearest_on(other, place)
    return np.stack([place, there])


def nearest_on(triangle: Floats, place: Floats) -> Floats:
    """The point (3,) of a triangle (3, 3) that is nearest to a place (3,): within it, or on the nearest edge."""
    a, b, c = triangle
    edges = np.stack([b - a, c - a], axis=1)
    shares, _, rank, _ = np.linalg.lstsq(edges, place - a, rcond=None)
    if rank == 2 and (shares >= 0.0).all() and shares.sum() <= 1.0:
        return np.asarray(a + edges @ shares)
    result = [_on_segment(start, stop, place) for start, stop in ((a, b), (b, c), (c, a))]
    return min(result, key=lambda point: float(((point - place) ** 2).sum()))


def _on_segment(start: Floats, stop: Floats, place: Floats) -> Floats:
    way = stop - start
    size = float(way @ way)
    share = min(max(float((place - start) @ way) / size, 0.0), 1.0) if size > 0.0 else 0.0
    return np.asarray(start + share * way)
