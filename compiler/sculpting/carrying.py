"""Offsets carried from one state of a mesh to another: the same mesh edited, with other numbers or another topology, or
another body of like build.

Each vertex of the new mesh takes the offset of the nearest place on the old skin, both in their neutral stance, mixed
from the corners of the triangle it lies on (closest point on a triangle: C. Ericson, "Real-Time Collision Detection",
2005, section 5.1.5), and turned as the skin is turned there: by the least rotation between the two normals.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from plica.mesh.arrays import Floats, Integers, Mesh, Offsets
from plica.mesh.normals import Normals, least_turns
from plica.mesh.offsets import lengths

NEAREST: Final = 12  # triangles, by their middles, that a vertex is tried against
AT_ONCE: Final = 1 << 14
FAR: Final = 0.01  # of the body's size: a place farther from the old skin is doubtful
TURNED: Final = np.cos(np.radians(60.0))  # normals farther apart than that: perhaps the other side of thin skin
APART: Final = 1e-3  # of the body's size: from there on the skin is turned as its normals say
FAINT: Final = 1e-9  # metres


class Correspondence(NamedTuple):
    """For each vertex (v,) of the new mesh: the vertices (v, 3) of the old triangle that it lies on, their shares
    (v, 3), how far it is from there (metres), how the skin is turned there (v, 3, 3), and which are doubtful."""

    corners: Integers
    shares: Floats
    distances: Floats
    turns: Floats
    doubtful: Integers


def correspondence(old: Mesh, old_places: Floats, new: Mesh, new_places: Floats, size: float) -> Correspondence:
    """Where each vertex of a mesh lies on another; places: of the vertices in the neutral stance. size: metres."""
    old_normals, new_normals = Normals(old).of(old_places), Normals(new).of(new_places)
    if same_topology(old, new):
        corners = np.repeat(np.arange(new.vertex_count)[:, None], 3, axis=1)
        shares = np.tile(np.array([1.0, 0.0, 0.0]), (new.vertex_count, 1))
        distances = lengths(new_places - old_places)
        doubtful = np.zeros(new.vertex_count, dtype=np.bool_)
    else:
        corners, shares, distances = nearest(old_places, old.triangles, new_places)
        doubtful = distances > FAR * size
    there = np.einsum("vk,vki->vi", shares, old_normals[corners])
    there /= np.maximum(lengths(there), 1e-300)[:, None]
    doubtful |= np.einsum("vi,vi->v", there, new_normals) < TURNED
    # Where the new skin lies on the old one it is not turned; normals differ there by how triangles are cut.
    apart = np.clip(distances / (APART * size), 0.0, 1.0)[:, None]
    towards = there + apart * (new_normals - there)
    towards /= np.maximum(lengths(towards), 1e-300)[:, None]
    return Correspondence(corners, shares, distances, least_turns(there, towards), np.flatnonzero(doubtful))


def same_topology(old: Mesh, new: Mesh) -> bool:
    """Whether vertices have the same numbers in both."""
    return old.vertex_count == new.vertex_count and np.array_equal(old.triangles, new.triangles)


def carried(offsets: Offsets, link: Correspondence, old_count: int) -> Offsets:
    """Offsets of the old mesh, of `old_count` vertices, on the new one."""
    dense = np.zeros((old_count, 3))
    dense[offsets.indices] = offsets.offsets
    mixed = np.einsum("vk,vki->vi", link.shares, dense[link.corners])
    turned = np.einsum("vij,vj->vi", link.turns, mixed)
    moving = np.flatnonzero(lengths(turned) > FAINT)
    return Offsets(moving, turned[moving])


def nearest(places: Floats, triangles: Integers, points: Floats) -> tuple[Integers, Floats, Floats]:
    """For each point (n, 3) the corners of the nearest of the triangles, the shares and the distance there."""
    tree = cKDTree(places[triangles].mean(axis=1))
    count = min(NEAREST, len(triangles))
    corners = np.empty((len(points), 3), np.int64)
    shares, distances = np.empty((len(points), 3)), np.empty(len(points))
    for start in range(0, len(points), AT_ONCE):
        part = slice(start, start + AT_ONCE)
        rows = np.asarray(tree.query(points[part], k=count)[1]).reshape(-1, count)
        tried = triangles[rows]
        weights, gaps = _on_triangles(points[part, None], places[tried])
        best = np.argmin(gaps, axis=1)
        own = np.arange(len(best))
        corners[part], shares[part], distances[part] = tried[own, best], weights[own, best], gaps[own, best]
    return corners, shares, distances


def _on_triangles(points: Floats, triangles: Floats) -> tuple[Floats, Floats]:
    """Shares of the corners (n, k, 3) at the place of each triangle (n, k, 3, 3) nearest to points (n, 1, 3), and the
    distance (n, k)."""
    a, b, c = triangles[:, :, 0], triangles[:, :, 1], triangles[:, :, 2]
    u, v, w = b - a, c - a, points - a
    uu, uv, vv = _dot(u, u), _dot(u, v), _dot(v, v)
    wu, wv = _dot(w, u), _dot(w, v)
    area = np.maximum(uu * vv - uv * uv, 1e-300)
    s, t = (vv * wu - uv * wv) / area, (uu * wv - uv * wu) / area
    inside = (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0)
    candidates = [np.stack([1.0 - s - t, s, t], axis=-1)]
    for one, other, place in ((a, b, (0, 1)), (b, c, (1, 2)), (c, a, (2, 0))):
        edge = other - one
        along = np.clip(_dot(points - one, edge) / np.maximum(_dot(edge, edge), 1e-300), 0.0, 1.0)
        weights = np.zeros((*along.shape, 3))
        weights[..., place[0]], weights[..., place[1]] = 1.0 - along, along
        candidates.append(weights)
    every = np.stack(candidates, axis=2)
    gaps = np.linalg.norm(points[:, :, None] - np.einsum("nkmc,nkci->nkmi", every, triangles), axis=-1)
    gaps[:, :, 0] = np.where(inside, gaps[:, :, 0], np.inf)
    best = np.argmin(gaps, axis=2)[..., None]
    shares = np.take_along_axis(every, best[..., None], axis=2)[:, :, 0]
    return shares, np.take_along_axis(gaps, best, axis=2)[..., 0]


def _dot(one: Floats, other: Floats) -> Floats:
    return np.asarray((one * other).sum(axis=-1))
