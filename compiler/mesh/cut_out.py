"""The part of a mesh that some weights cover, as a mesh of its own: as much as somebody looks at, and no more."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.weld import first_vertices


def cut_out(mesh: Mesh, weights: Floats, partners: Integers | None = None) -> tuple[Mesh, Integers]:
    """The triangles of which a corner has weight (v,) above 0, as a mesh, and the vertices (n,), rising, that it has.

    It has the vertices of these triangles and those that have weight; of each of their points the first vertex, which
    stands for the point; and for all of these the vertices `partners` (v,; -1 for none) where they are given. Order is
    kept, and so are uv sets; normals and morph targets are not.
    """
    chosen = (weights[mesh.triangles] > 0.0).any(axis=1)
    within = weights > 0.0
    within[mesh.triangles[chosen]] = True
    first, count = first_vertices(mesh.points), -1
    while count != (count := int(within.sum())):
        within[first[mesh.points[within]]] = True
        if partners is not None:
            theirs = partners[within]
            within[theirs[theirs >= 0]] = True
    vertices = np.flatnonzero(within)
    number = np.cumsum(within) - 1
    part = replace(
        mesh,
        positions=mesh.positions[vertices],
        triangles=number[mesh.triangles[chosen]],
        normals=None,
        uvs={name: places[vertices] for name, places in mesh.uvs.items()},
        points=np.unique(mesh.points[vertices], return_inverse=True)[1],
        joints=mesh.joints[vertices],
        weights=mesh.weights[vertices],
        morphs={},
        parts=(),
        problems=(),
    )
    return part, vertices
