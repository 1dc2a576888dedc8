"""Marks far from where a sculpt is: a slip of the hand, or what a program moved."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from plica.mesh.arrays import Floats, Integers, Mesh, Offsets
from plica.mesh.offsets import chosen, lengths
from plica.mesh.vertex_places import heaviest_joints
from plica.mesh.weld import edges_of, point_triangles

SLIGHT = 0.02  # of what the whole sculpt moves (sum of squares): a patch that moves less may be a slip


class Stray(NamedTuple):
    """A patch of vertices (n,) that moves by itself: `largest` metres, around `joint` (None: no skin weights there)."""

    vertices: Integers
    largest: float
    joint: str | None


def strays_of(offsets: Offsets, mesh: Mesh, region: Floats | None, joints: tuple[str, ...]) -> tuple[Stray, ...]:
    """The slight patches of moved vertices that lie outside the region, or far from the largest patch, the most first.

    region: weights (v,) of the region that the shape is kept to, if any. Far: farther from the nearest vertex of the
    largest patch than that patch is wide.
    """
    if not offsets.count:
        return ()
    patches = _patches(offsets, mesh)
    amount = lengths(offsets.offsets)
    energy = np.bincount(patches, amount * amount)
    main = int(np.argmax(energy))
    places = mesh.positions[offsets.indices]
    core = places[patches == main]
    width = float(np.linalg.norm(core.max(axis=0) - core.min(axis=0)))
    distance = np.asarray(cKDTree(core).query(places)[0])
    carriers = heaviest_joints(mesh)
    result = []
    for patch in np.flatnonzero(energy < SLIGHT * energy.sum()).tolist():
        rows = np.flatnonzero(patches == patch)
        vertices = offsets.indices[rows]
        outside = region is not None and not region[vertices].any()
        if patch != main and (outside or float(distance[rows].min()) > width):
            carrier = int(carriers[vertices[int(np.argmax(amount[rows]))]])
            result.append(Stray(vertices, float(amount[rows].max()), None if carrier < 0 else joints[carrier]))
    return tuple(sorted(result, key=lambda stray: (-stray.largest, int(stray.vertices[0]))))


def without(offsets: Offsets, strays: tuple[Stray, ...]) -> Offsets:
    """The offsets without those of strays."""
    gone = np.concatenate([np.zeros(0, np.int64), *(stray.vertices for stray in strays)])
    return chosen(offsets, ~np.isin(offsets.indices, gone))


def _patches(offsets: Offsets, mesh: Mesh) -> Integers:
    """A number (n,) for each moved vertex, the same for those that hang together along edges."""
    points = mesh.points[offsets.indices]
    count = mesh.point_count
    moved = np.zeros(count, dtype=np.bool_)
    moved[points] = True
    edges = edges_of(point_triangles(mesh))
    kept = edges[moved[edges].all(axis=1)]
    links = coo_array((np.ones(len(kept)), (kept[:, 0], kept[:, 1])), shape=(count, count))
    labels = connected_components(links, directed=False)[1].astype(np.int64)
    result = np.unique(labels[points], return_inverse=True)[1]
    return np.asarray(result, dtype=np.int64).reshape(-1)
