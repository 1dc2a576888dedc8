"""Arrays of a skinned mesh and of offsets on it.

Rest pose and bind pose are different things: `positions` is the mesh as it stood when the skin was bound, in model
space (`plica.mesh.model_space`); where it stands at rest follows from skinning it with the rest frames
(`plica.mesh.skinning`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from plica.readers.gltf_shown import Shown

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class MeshPart:
    """A stretch of vertices, `start` and `count`, that came from one mesh of the file as one node shows it.

    primitives: those of the mesh whose vertices they are, several where they share them; node: what the node is called
    (None where it has no name, and in OpenUSD); points: None where the vertices are the file's, in its order, else
    (count,) which of the file's points each is a copy of (OpenUSD meshes are split where uvs or normals differ).
    to_model (4, 4): takes the vertices as the file stores them to model space, for columns. in_gltf: the numbers of
    mesh, node and skin in a glTF file; None in OpenUSD.
    """

    mesh: str
    node: str | None
    primitives: tuple[int, ...]
    start: int
    count: int
    points: Integers | None = field(default=None, compare=False)
    to_model: Floats = field(default_factory=lambda: np.eye(4), compare=False)
    in_gltf: Shown | None = field(default=None, compare=False)

    @property
    def rows(self) -> slice:
        """Where its vertices stand among those of the mesh."""
        return slice(self.start, self.start + self.count)


@dataclass(frozen=True, eq=False)
class Offsets:
    """What moves: `indices` (n,) strictly rising, `offsets` (n, 3) metres in the neutral mesh's space.

    `normals` (n, 3), if there: how much the normals change there.
    """

    indices: Integers
    offsets: Floats
    normals: Floats | None = None

    @property
    def count(self) -> int:
        """How many vertices move."""
        return len(self.indices)

    def rows_in(self, part: MeshPart) -> slice:
        """The rows that move vertices of a part; an empty slice where none does."""
        first, last = np.searchsorted(self.indices, (part.rows.start, part.rows.stop)).tolist()
        return slice(first, last)


@dataclass(frozen=True, eq=False)
class Mesh:
    """A neutral mesh; all primitives of all chosen meshes one after the other.

    positions (v, 3) metres; triangles (t, 3); normals (v, 3) or None; uvs: by name of the set (v, 2), v down as in
    glTF, not a number where a part has no such set;
    points (v,): the index of the welded point that a vertex is a copy of (importers split vertices at uv and normal
    seams), 0..p-1 in the order of their first vertices; joints (v, k) indexes into the binds, weights (v, k), not
    negative, adding up to 1 (k is 0 where the model has no joints); bind_joints (b,): the index in the rig's skeleton
    of the joint of each bind, inverse_binds (b, 4, 4); morphs: by name, what the file's morph targets move.

    `problems` are sentences about what had to be put right (weights that did not add up, say).
    """

    positions: Floats
    triangles: Integers
    normals: Floats | None
    uvs: Mapping[str, Floats]
    points: Integers
    joints: Integers
    weights: Floats
    bind_joints: Integers
    inverse_binds: Floats
    morphs: Mapping[str, Offsets]
    parts: tuple[MeshPart, ...]
    problems: tuple[str, ...] = field(default=())

    def triangles_in(self, part: MeshPart) -> Integers:
        """The triangles (n, 3) between a part's vertices, which are counted from its first."""
        inside = (self.triangles >= part.rows.start).all(axis=1) & (self.triangles < part.rows.stop).all(axis=1)
        return np.asarray(self.triangles[inside] - part.start)

    @property
    def vertex_count(self) -> int:
        """The number of vertices as the file stores them."""
        return len(self.positions)

    @property
    def point_count(self) -> int:
        """The number of welded points."""
        return int(self.points.max()) + 1 if len(self.points) else 0
