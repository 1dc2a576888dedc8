"""What an artist sculpted: a whole mesh (glTF, OpenUSD, OBJ) or the offsets alone (NPZ)."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from plica.mesh.arrays import Floats, Integers, Mesh, Offsets
from plica.mesh.draft_layer import DraftLayer
from plica.mesh.weld import edges_of, per_vertex
from plica.readers.model_outline import UnreadableModel
from plica.units import nearest_factor


@dataclass(frozen=True, eq=False)
class Sculpted:
    """A sculpt as its file says it.

    Either positions (vertex_count, 3) in metres or `offsets` is there. unit: how many metres one length of the file was
    taken for where it holds positions. edges (e, 2): of its faces, where the file has
    them. `fingerprint`: of the neutral that it was made over, where the file tells. draft: the computed layer of the
    offsets, if any.
    """

    vertex_count: int
    positions: Floats | None = None
    offsets: Offsets | None = None
    edges: Integers | None = None
    fingerprint: str | None = None
    problems: tuple[str, ...] = ()
    unit: float = 1.0
    draft: DraftLayer | None = None


def read_sculpt(path: Path, meshes: Collection[str] = ()) -> Sculpted:
    """A sculpt of any format, told by the file's ending, else by its content.

    `meshes` are the names of the character's meshes: where a model holds all of them, only they are taken. Raises
    UnreadableModel.
    """
    ending = path.suffix.lower()
    if ending == ".npz":
        from plica.mesh.npz_offsets import read_npz_offsets

        stored = read_npz_offsets(path)
        if stored.positions is not None:
            edges = None if stored.triangles is None else edges_of(stored.triangles)
            return Sculpted(stored.vertex_count, stored.positions, None, edges, stored.fingerprint)
        return Sculpted(stored.vertex_count, None, stored.offsets, None, stored.fingerprint, draft=stored.draft)
    if ending == ".obj":
        from plica.mesh.obj_mesh import read_obj

        result = read_obj(path)
        return Sculpted(len(result.positions), result.positions, None, result.edges)
    return _of_model(path, meshes)


def sculpted_positions(sculpt: Sculpted, mesh: Mesh, neutral: Floats) -> Floats:
    """Where the sculpt puts the mesh's vertices (v, 3).

    `neutral` (v, 3): where they stood before, in the pose it was made in. The sculpt's vertices are the mesh's vertices
    or its welded points. Raises ValueError where they are neither; `check_sculpt` finds that out before.
    """
    if sculpt.offsets is not None and sculpt.vertex_count == mesh.vertex_count:
        result = neutral.copy()
        result[sculpt.offsets.indices] += sculpt.offsets.offsets
        return result
    if sculpt.positions is None or sculpt.vertex_count not in (mesh.vertex_count, mesh.point_count):
        raise ValueError("the sculpt was made over another mesh")
    if sculpt.vertex_count == mesh.vertex_count:
        return sculpt.positions
    return np.asarray(per_vertex(mesh.points, sculpt.positions))


def _of_model(path: Path, meshes: Collection[str]) -> Sculpted:
    from plica.mesh.mesh_reader import read_mesh, unit_as_read
    from plica.readers.model_reader import read_outline

    try:
        outline = read_outline(path)
    except UnreadableModel as error:
        if path.suffix:
            raise
        raise UnreadableModel(f"{error}; sculpts are NPZ, OBJ, glTF or OpenUSD files") from error
    names = {name for mesh in outline.meshes for name in (mesh.name, *mesh.nodes)}
    chosen = tuple(meshes) if meshes and set(meshes) <= names else ()
    joints = [joint.name for joint in read_outline(path, chosen).skeleton.joints] if chosen else None
    mesh = read_mesh(path, joints or [joint.name for joint in outline.skeleton.joints], chosen)
    edges, unit = edges_of(mesh.triangles), unit_as_read(path)
    return Sculpted(mesh.vertex_count, mesh.positions, None, edges, None, mesh.problems, unit)


def in_unit_of(sculpt: Sculpted, mesh: Mesh, unit: float | None) -> Sculpted:
    """A sculpted mesh in metres: its file's lengths are those of the model's file, `unit`, or what they were taken for.

    It is whichever makes its edges as long as the mesh's, because edges keep their lengths where a limb is posed.
    Offsets are metres in every file.
    """
    if unit is None or sculpt.positions is None or sculpt.vertex_count not in (mesh.vertex_count, mesh.point_count):
        return sculpt
    at = sculpted_positions(sculpt, mesh, mesh.positions)
    one, other = mesh.triangles[:, 0], mesh.triangles[:, 1]
    own = np.linalg.norm(mesh.positions[one] - mesh.positions[other], axis=1)
    theirs = np.linalg.norm(at[one] - at[other], axis=1)
    told = (own > 0.0) & (theirs > 0.0)
    if not told.any():
        return sculpt
    factor = nearest_factor(float(np.median(own[told] / theirs[told])), (1.0, unit / sculpt.unit))
    return replace(sculpt, positions=sculpt.positions * factor, unit=sculpt.unit * factor)
