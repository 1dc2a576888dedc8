"""Catmull-Clark subdivision of closed quad meshes, for positions and any other vertex data alike.

The masks are those of E. Catmull and J. Clark, "Recursively generated B-spline surfaces on arbitrary
topological meshes", Computer-Aided Design 10 (6), 1978.
"""

from __future__ import annotations

import numpy as np

from plica.picture.directions import Floats, Integers


def _gathered(targets: Integers, values: Floats, count: int) -> Floats:
    """Sums of `values` (n, k) by target row, shape (count, k), always added in the same order."""
    order = np.argsort(targets, kind="stable")
    sorted_targets = targets[order]
    starts = np.flatnonzero(np.diff(sorted_targets, prepend=-1))
    sums = np.zeros((count, values.shape[1]))
    sums[sorted_targets[starts]] = np.add.reduceat(values[order], starts, axis=0)
    return sums


def catmull_clark(values: Floats, faces: Integers) -> tuple[Floats, Integers]:
    """One step of subdivision.

    `values` is (vertices, k), any data with positions among it; `faces` is (quads, 4) of a closed,
    consistently wound mesh. Returns the refined values and (4 quads, 4) faces: the children of quad f are 4
    f .. 4 f + 3, and child i begins at the quad's corner i. Raises ValueError if an edge does not have
    exactly two quads.
    """
    vertex_count, face_count = len(values), len(faces)
    starts, stops = faces, np.roll(faces, -1, axis=1)
    keys = np.minimum(starts, stops) * vertex_count + np.maximum(starts, stops)
    edges, edge_of, uses = np.unique(keys.ravel(), return_inverse=True, return_counts=True)
    if np.any(uses != 2):
        raise ValueError(f"{int(np.sum(uses != 2))} edges do not have exactly two faces")
    face_points = values[faces].mean(axis=1)
    ends = np.stack([edges // vertex_count, edges % vertex_count], axis=1)
    middles = values[ends].mean(axis=1)
    owners = np.repeat(np.arange(face_count), 4)
    beside = _gathered(edge_of.ravel(), face_points[owners], len(edges)) / 2.0
    edge_points = (middles + beside) / 2.0

    valence = np.bincount(faces.ravel(), minlength=vertex_count).astype(np.float64)[:, None]
    around = _gathered(faces.ravel(), face_points[owners], vertex_count) / valence
    spokes = _gathered(ends.ravel(), np.repeat(middles, 2, axis=0), vertex_count) / valence
    vertex_points = (around + 2.0 * spokes + (valence - 3.0) * values) / valence

    edge_number = edge_of.reshape(face_count, 4) + vertex_count
    center = np.broadcast_to(np.arange(face_count)[:, None] + vertex_count + len(edges), (face_count, 4))
    children = np.stack([faces, edge_number, center, np.roll(edge_number, 1, axis=1)], axis=2)
    refined = np.concatenate([vertex_points, edge_points, face_points])
    return refined, children.reshape(-1, 4).astype(np.int64)


def neighbour_means(values: Floats, faces: Integers) -> Floats:
    """For each vertex of a closed quad mesh the mean of its edge neighbours' values, (n, k)."""
    starts, stops = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    # In a closed, consistently wound mesh every edge occurs once in each direction.
    valence = np.bincount(starts, minlength=len(values)).astype(np.float64)
    sums = [np.bincount(starts, weights=values[stops, k], minlength=len(values)) for k in range(values.shape[1])]
    return np.stack(sums, axis=1) / valence[:, None]


def split_corners(corners: Floats) -> Floats:
    """Texture coordinates kept per face corner, (quads, 4, 2), split alongside `catmull_clark` without
    smoothing.

    Straight splitting keeps island borders where they are and can never make two quads overlap.
    """
    middles = (corners + np.roll(corners, -1, axis=1)) / 2.0
    centers = np.broadcast_to(corners.mean(axis=1, keepdims=True), corners.shape)
    children = np.stack([corners, middles, centers, np.roll(middles, 1, axis=1)], axis=2)
    return children.reshape(-1, 4, 2)
