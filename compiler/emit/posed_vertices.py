"""Posed vertices for the test vectors: where some vertices of the skin stand in some poses, shapes on.

What is chosen depends on the mesh and the shapes alone, by the rule that `targets/json/README.md` states: every shape
is seen where it moves most and in a pose in which it is on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from plica.evaluate.poses import SparsePose, poses_from
from plica.evaluate.vectors import Example
from plica.mesh.arrays import Floats, Integers, Mesh, Offsets
from plica.mesh.attach import Attached
from plica.mesh.deform import Deformer
from plica.mesh.inbetweens import Inbetweens
from plica.rig.rig import Rig
from plica.rounding import places_of

FEWEST_POSES: Final = 16
VERTICES: Final = 256
ON: Final = 0.5  # of the greatest strength that a shape has in any vector, from which on a pose shows it
TOLERANCE: Final = 1e-6  # of the body's largest extent
_DIGITS: Final = 10  # of the body's largest extent; machines differ by less


@dataclass(frozen=True, eq=False)
class PosedVertices:
    """The chosen `vertices` (n,) of a mesh of `vertex_count` vertices, and the `vectors` (p,) whose poses are taken.

    positions (p, n, 3): there, in metres of model space, each right to within `tolerance` metres."""

    vertex_count: int
    fingerprint: str
    tolerance: float
    vertices: Integers
    vectors: tuple[int, ...]
    positions: Floats


def posed_vertices(rig: Rig, attached: Attached, examples: Sequence[Example]) -> PosedVertices:
    """The posed vertices of a rig's mesh in some of the examples; offsets count as the offsets file stores them."""
    shapes = attached.shapes
    vertices = chosen_vertices(attached.mesh.vertex_count, shapes)
    followed = {shape.name: shape.follows for shape in rig.shapes if shape.name in shapes}
    vectors = chosen_vectors(examples, [strength for strength in followed.values() if strength is not None])
    mesh, few = (
        _only(attached.mesh, vertices),
        {name: _each(_each(shape, _On(vertices)), _stored) for name, shape in shapes.items()},
    )
    poses: list[SparsePose] = [examples[number].pose for number in vectors]
    blocks = [block.positions for block in Deformer(mesh, rig, few).positions(poses_from(rig, poses))]
    extent = float(np.ptp(attached.mesh.positions, axis=0).max())
    positions: Floats = np.round(np.concatenate(blocks), places_of((extent,), _DIGITS)).astype(np.float64) + 0.0
    tolerance = float(f"{TOLERANCE * extent:.2e}")
    return PosedVertices(
        attached.mesh.vertex_count, attached.fingerprint, tolerance, vertices, tuple(vectors), positions
    )


def chosen_vertices(vertex_count: int, shapes: Mapping[str, Inbetweens]) -> Integers:
    """At least 256 vertices, rising; all where the mesh has no more.

    Of every shape and inbetween the one that it moves furthest, as a file in single precision has it, then of each the
    next, and so on until these are half of them; the rest lie evenly along the mesh.
    """
    if vertex_count <= VERTICES:
        return np.arange(vertex_count)
    orders = [_by_distance(column) for shape in shapes.values() for column in shape.columns]
    taken: set[int] = set()
    for rank in range(max(map(len, orders), default=0)):
        if rank and len(taken) >= VERTICES // 2:
            break
        taken.update(int(order[rank]) for order in orders if rank < len(order))
    return np.array(_filled(taken, VERTICES, vertex_count), dtype=np.int64)


def chosen_vectors(examples: Sequence[Example], followed: Sequence[str]) -> list[int]:
    """Numbers of examples, rising, at least 16 where there are so many.

    The first; for each strength that a shape follows, unless one chosen already has it at half of the most that it is
    in any, the first that has the most; then others evenly along the list.
    """
    chosen = {0}
    for strength in dict.fromkeys(followed):
        values = [example.strengths[strength] for example in examples]
        most = max(values)
        if most > 0.0 and all(values[number] < ON * most for number in chosen):
            chosen.add(values.index(most))
    return _filled(chosen, FEWEST_POSES, len(examples))


def _filled(chosen: set[int], fewest: int, count: int) -> list[int]:
    """Numbers below `count`, rising: the chosen ones and, up to `fewest`, others evenly along all, then the lowest."""
    lacking = max(0, fewest - len(chosen))
    evenly = [number * count // lacking for number in range(lacking)]
    others = [number for number in dict.fromkeys((*evenly, *range(count))) if number not in chosen]
    return sorted((*chosen, *others[:lacking]))


def _by_distance(offsets: Offsets) -> Integers:
    """The vertices that move, the furthest first; of equals the lowest number first. No more than are ever chosen."""
    distances = np.linalg.norm(_stored(offsets).offsets, axis=1)
    return np.asarray(offsets.indices[np.argsort(-distances, kind="stable")[:VERTICES]])


def _stored(offsets: Offsets) -> Offsets:
    """As a file in single precision has them."""
    return Offsets(offsets.indices, offsets.offsets.astype(np.float32).astype(np.float64))


class _On:
    """Takes offsets to a mesh of chosen vertices alone."""

    def __init__(self, vertices: Integers) -> None:
        self._vertices = vertices

    def __call__(self, offsets: Offsets) -> Offsets:
        """What moves of the chosen ones, by their places among them."""
        kept = np.isin(offsets.indices, self._vertices)
        return Offsets(np.searchsorted(self._vertices, offsets.indices[kept]), offsets.offsets[kept])


def _only(mesh: Mesh, vertices: Integers) -> Mesh:
    """A mesh without its surface, of chosen vertices."""
    on = _On(vertices)
    return replace(
        mesh,
        positions=mesh.positions[vertices],
        triangles=np.zeros((0, 3), dtype=np.int64),
        normals=None,
        uvs={},
        points=np.arange(len(vertices)),
        joints=mesh.joints[vertices],
        weights=mesh.weights[vertices],
        morphs={name: on(offsets) for name, offsets in mesh.morphs.items()},
        parts=(),
    )


def _each(shape: Inbetweens, change: Callable[[Offsets], Offsets]) -> Inbetweens:
    return replace(shape, primary=change(shape.primary), offsets=tuple(map(change, shape.offsets)))
