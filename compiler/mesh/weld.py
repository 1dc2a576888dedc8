"""Vertices that are copies of one point: importers split them at uv and normal seams, exporters where meshes are cut.

Copies stand at the same place, belong to the same mesh or to the open borders of two, hang on the same joints with the
same weights and move alike in every morph target, so whatever is computed for the point holds for each of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from plica.mesh.arrays import Floats, Integers, Mesh, Offsets

# With a tolerance: weights and offsets that agree to as many digits are the same.
LOOSE_WEIGHT = 1e-4


def weld(
    positions: Floats,
    shown: Integers,
    joints: Integers,
    weights: Floats,
    morphs: Mapping[str, Offsets],
    tolerance: float = 0.0,
) -> Integers:
    """The point of each vertex (v,), numbered in the order of their first vertices.

    positions (v, 3) metres, shown (v,) the mesh of each vertex, joints and weights (v, k) sorted by weight. Places are
    the same bit for bit, or within `tolerance` metres of each other (in a chain, if need be).
    """
    labels = labels_of_rows(positions + 0.0)
    if tolerance > 0.0:
        labels = _near(positions, labels, tolerance)
    shared = np.flatnonzero(np.bincount(labels)[labels] > 1)
    if not len(shared):
        return np.arange(len(positions))
    kinds = _both(labels[shared], shown[shared])
    loose = tolerance > 0.0
    kinds = _both(kinds, labels_of_rows(_rounded(_dense(joints[shared], weights[shared]), LOOSE_WEIGHT, loose)))
    for morph in morphs.values():
        kinds = _both(kinds, labels_of_rows(_rounded(_moves(morph, shared, len(positions)), tolerance, loose)))
    result = np.arange(len(positions)) + len(shared)  # everybody alone, but for ...
    result[shared] = kinds
    return in_order(result)


def weld_borders(
    points: Integers,
    positions: Floats,
    triangles: Integers,
    shown: Integers,
    joints: Integers,
    weights: Floats,
    morphs: Mapping[str, Offsets],
    tolerance: float,
) -> Integers:
    """The points (v,) with those made one where the open borders of different meshes meet, as of a skin that was cut.

    `points`: as `weld` gives them; the rest as for it. What lies on a surface is never joined to another mesh: layers
    that touch, and a mesh that is shown twice, stay apart.
    """
    if len(shown) == 0 or shown.min() == shown.max():
        return points
    first = first_vertices(points)
    border = _border_points(points[triangles])
    vertices = first[border]
    pairs = cKDTree(positions[vertices]).query_pairs(tolerance, output_type="ndarray")
    one, other = vertices[pairs[:, 0]], vertices[pairs[:, 1]]
    dense = _dense(joints, weights)
    alike = (shown[one] != shown[other]) & (np.abs(dense[one] - dense[other]) <= LOOSE_WEIGHT).all(axis=1)
    for morph in morphs.values():
        apart = _moves(morph, one, len(positions)) - _moves(morph, other, len(positions))
        alike &= (np.abs(apart) <= tolerance).all(axis=1)
    joined = border[pairs[alike]]
    links = coo_array((np.ones(len(joined)), (joined[:, 0], joined[:, 1])), shape=(len(first), len(first)))
    return in_order(connected_components(links, directed=False)[1].astype(np.int64)[points])


def _border_points(triangles: Integers) -> Integers:
    """The points on edges that belong to one triangle alone."""
    keys = np.concatenate([edge_keys(triangles[:, a], triangles[:, b]) for a, b in ((0, 1), (1, 2), (2, 0))])
    edges, times = np.unique(keys, return_counts=True)
    once = edges[times == 1]
    return np.unique(np.concatenate([once >> 32, once & 0xFFFFFFFF]))


def in_order(labels: Integers) -> Integers:
    """The same groups, numbered 0, 1, ... in the order in which they first occur."""
    _, first, inverse = np.unique(labels, return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    result: Integers = rank[inverse]
    return result


def first_vertices(points: Integers) -> Integers:
    """The first vertex of each point (p,); points are numbered in the order of their first vertices."""
    highest = np.maximum.accumulate(points)
    return np.flatnonzero(np.diff(highest, prepend=-1))


def per_point(points: Integers, values: NDArray[Any]) -> NDArray[Any]:
    """Values of vertices (v, ...) as values of points (p, ...): those of each point's first vertex."""
    result: NDArray[Any] = values[first_vertices(points)]
    return result


def mean_per_point(points: Integers, values: Floats) -> Floats:
    """Values of vertices (v, ...) as values of points (p, ...): the mean of each point's copies."""
    count = int(points.max(initial=-1)) + 1
    flat = values.reshape(len(values), -1)
    sums = np.stack([np.bincount(points, column, count) for column in flat.T], axis=-1)
    means = sums / np.bincount(points, minlength=count)[:, None]
    return means.reshape(count, *values.shape[1:])


def per_vertex(points: Integers, values: NDArray[Any]) -> NDArray[Any]:
    """Values of points (p, ...) as values of vertices (v, ...): every copy gets its point's."""
    result: NDArray[Any] = values[points]
    return result


def point_triangles(mesh: Mesh) -> Integers:
    """The triangles between points (t, 3), without those that welding closed to a line or a point."""
    result = mesh.points[mesh.triangles]
    open_ones = (result[:, 0] != result[:, 1]) & (result[:, 1] != result[:, 2]) & (result[:, 2] != result[:, 0])
    return np.asarray(result[open_ones])


def edges_of(triangles: Integers) -> Integers:
    """Every edge once (e, 2), the smaller index first, sorted. Indexes are below 2**31."""
    keys = np.concatenate([edge_keys(triangles[:, a], triangles[:, b]) for a, b in ((0, 1), (1, 2), (2, 0))])
    keys.sort()
    first = np.ones(len(keys), bool)
    np.not_equal(keys[1:], keys[:-1], out=first[1:])
    keys = keys[first]
    edges = np.stack([keys >> 32, keys & 0xFFFFFFFF], axis=1)
    return np.asarray(edges[edges[:, 0] != edges[:, 1]])


def edge_keys(one: Integers, other: Integers) -> Integers:
    """One number for the edge between two points, the same both ways round; sorted like `edges_of`."""
    return (np.minimum(one, other) << 32) | np.maximum(one, other)


def labels_of_rows(rows: NDArray[Any]) -> Integers:
    """The same number for equal rows (n, k)."""
    if not len(rows) or not rows.shape[1]:
        return np.zeros(len(rows), np.int64)
    order = np.lexsort(rows.T)
    ordered = rows[order]
    changed = np.any(ordered[1:] != ordered[:-1], axis=1)
    result = np.empty(len(rows), np.int64)
    result[order] = np.concatenate([[0], np.cumsum(changed)])
    return result


def _both(one: Integers, other: Integers) -> Integers:
    """The same number where both are the same."""
    _, result = np.unique(one * (int(other.max(initial=0)) + 1) + other, return_inverse=True)
    return np.asarray(result, dtype=np.int64)


def _near(positions: Floats, labels: Integers, tolerance: float) -> Integers:
    """Labels of places, with those within the tolerance made one."""
    places = positions[np.unique(labels, return_index=True)[1]]
    pairs = cKDTree(places).query_pairs(tolerance, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(places), len(places)))
    groups = connected_components(links, directed=False)[1].astype(np.int64)
    return np.asarray(groups[labels])


def _dense(joints: Integers, weights: Floats) -> Floats:
    """Joint numbers and weights side by side, sorted by joint, so that rows can be compared."""
    held = np.where(weights > 0.0, joints, np.iinfo(np.int32).max)
    order = np.argsort(held, axis=1, kind="stable")
    return np.hstack([np.take_along_axis(held, order, 1), np.take_along_axis(weights, order, 1)]).astype(np.float64)


def _moves(morph: Offsets, vertices: Integers, count: int) -> Floats:
    """The offsets of some vertices (n, 3)."""
    row = np.full(count, len(morph.indices))
    row[morph.indices] = np.arange(len(morph.indices))
    return np.asarray(np.vstack([morph.offsets, np.zeros((1, 3))])[row[vertices]] + 0.0)


def _rounded(values: Floats, step: float, loose: bool) -> Floats:
    return np.round(values / step) if loose else values
