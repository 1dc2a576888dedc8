"""Where on a mesh something is, in words that an artist knows: by the joints that carry it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plica.mesh.arrays import Floats, Integers, Mesh


@dataclass(frozen=True)
class VertexPlace:
    """Vertices near one joint: how many, the largest of their distances (metres), that vertex and its position.

    `joint` is the one that carries that vertex most; empty where no joint carries it.
    """

    joint: str
    count: int
    worst: float
    vertex: int
    position: tuple[float, float, float]


def heaviest_joints(mesh: Mesh) -> Integers:
    """For each vertex (v,) the index in the rig's skeleton of the joint with the most weight, -1 for none."""
    if not mesh.joints.shape[1]:
        return np.full(mesh.vertex_count, -1)
    rows = np.arange(mesh.vertex_count)
    return np.asarray(mesh.bind_joints[mesh.joints[rows, mesh.weights.argmax(axis=1)]])


def joints_with_skin(mesh: Mesh, count: int) -> list[bool]:
    """For each of the `count` joints of the rig's skeleton whether any vertex has a weight of it.

    What a file lists as the joints of its skin may hold none: helpers, controls and tips are often among them.
    """
    weight = np.zeros(count)
    np.add.at(weight, mesh.bind_joints[mesh.joints], mesh.weights)
    return [bool(value > 0.0) for value in weight]


def place_of(mesh: Mesh, vertices: Integers, distances: Floats, joints: Sequence[str]) -> tuple[VertexPlace, ...]:
    """Some vertices (n,) with a distance each (n,), by joint: the joint with most of them first."""
    carried = heaviest_joints(mesh)[vertices]
    result = []
    for joint in np.unique(carried):
        own = np.flatnonzero(carried == joint)
        worst = own[np.argmax(distances[own])]
        x, y, z = mesh.positions[vertices[worst]].tolist()
        name = joints[joint] if 0 <= joint < len(joints) else ""
        result.append(VertexPlace(name, len(own), float(distances[worst]), int(vertices[worst]), (x, y, z)))
    return tuple(sorted(result, key=lambda place: (-place.count, place.joint)))
