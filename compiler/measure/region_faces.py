"""The part of a mesh that a region covers, on welded points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from plica.kinds.expectations import BORDER
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.weld import edge_keys, first_vertices


@dataclass(frozen=True, eq=False)
class Faces:
    """Triangles of a mesh, those that welding closed to a line left out.

    vertices (n,): the first vertex of each point in use, rising; corners (t, 3): indexes into `vertices`;
    numbers (t,): each triangle's number in the mesh.
    """

    vertices: Integers
    corners: Integers
    numbers: Integers

    @property
    def corner_vertices(self) -> Integers:
        """The mesh's vertices at the corners (t, 3)."""
        return np.asarray(self.vertices[self.corners])


def renumbered(faces: Faces, vertices: Integers) -> Faces:
    """The same with vertices numbered by their places among some of the mesh's (n,), rising, which hold all of them."""
    return Faces(np.searchsorted(vertices, faces.vertices), faces.corners, faces.numbers)


def faces_of(mesh: Mesh, weights: Floats | None = None, border: float = BORDER) -> Faces:
    """The triangles whose corners' mean weight is above `border`; weights (v,) from 0 to 1, all triangles for None."""
    points = mesh.points[mesh.triangles]
    kept = (points[:, 0] != points[:, 1]) & (points[:, 1] != points[:, 2]) & (points[:, 2] != points[:, 0])
    if weights is not None:
        kept &= mean_weights(mesh, weights) > border
    numbers = np.flatnonzero(kept)
    used, corners = np.unique(points[numbers], return_inverse=True)
    return Faces(first_vertices(mesh.points)[used], corners.reshape(-1, 3), numbers)


def mean_weights(mesh: Mesh, weights: Floats) -> Floats:
    """The mean of the weights (v,) at the corners of each triangle (t,)."""
    return np.asarray(weights[mesh.triangles].mean(axis=1))


def counted_shares(mesh: Mesh, weights: Floats, border: float | None) -> Floats:
    """How much each triangle (t,) counts: its mean weight, or 1 where that is above a border, and else 0."""
    means = mean_weights(mesh, weights)
    return means if border is None else np.asarray(means > border, np.float64)


def without(faces: Faces, unwanted: Faces) -> Faces:
    """The faces that are not among some others of the same mesh."""
    kept = ~np.isin(faces.numbers, unwanted.numbers)
    used, corners = np.unique(faces.corners[kept], return_inverse=True)
    return Faces(faces.vertices[used], corners.reshape(-1, 3), faces.numbers[kept])


def open_edges(corners: Integers) -> Integers:
    """The directed edges (e, 2) that no neighbour runs along the other way, in the direction of their triangles.

    Where more than two triangles meet at an edge, as many are open as are left over.
    """
    edges = np.concatenate([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]])
    forward = np.where(edges[:, 0] < edges[:, 1], 1, -1)
    _, first, group = np.unique(edge_keys(edges[:, 0], edges[:, 1]), return_index=True, return_inverse=True)
    surplus = np.bincount(group, forward).astype(np.int64)
    result = np.repeat(np.sort(edges[first], axis=1), np.abs(surplus), axis=0)
    turned = np.repeat(surplus < 0, np.abs(surplus))
    result[turned] = result[turned, ::-1]
    return result


def loops_of(edges: Integers) -> Integers:
    """The loop of each edge (e,), from 0: edges that hang together; loops that touch at a point count as one."""
    if not len(edges):
        return np.zeros(0, np.int64)
    used, ends = np.unique(edges, return_inverse=True)
    ends = ends.reshape(-1, 2)
    links = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(used), len(used)))
    return np.asarray(connected_components(links, directed=False)[1][ends[:, 0]], np.int64)
