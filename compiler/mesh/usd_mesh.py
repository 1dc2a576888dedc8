"""Meshes of an OpenUSD stage with their UsdSkel skinning and blend shapes.

Rules: openusd.org/release/api/_usd_skel__schemas.html. Positions go through geomBindTransform, then through what turns
the skeleton's space into the model's (metres, y up); inverse binds undo the latter, so that the rig's joints carry
them. Matrices of OpenUSD take row vectors; here they are turned round where they leave this module.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.assembly import Binding, MeshPiece, Morphed, put_right, put_together
from plica.mesh.model_space import carried_normals
from plica.mesh.polygons import Corners, corners_of, per_corner, split_at_seams
from plica.readers.model_outline import UnreadableModel, distinct
from plica.readers.usd_model import joint_names, outline_of_stage, taken_meshes
from plica.readers.usd_reader import read_stage
from plica.readers.usd_stage import (
    FRACTIONS,
    WHOLE_NUMBERS,
    UsdArray,
    UsdBlendShape,
    UsdMesh,
    UsdPrimvar,
    UsdSkeleton,
    UsdStage,
)


class _UsdMeshes(NamedTuple):
    """The stage, the rows of the rig's joints by name, and by skeleton and path; what had to be put right."""

    chosen: tuple[str, ...]
    stage: UsdStage
    skeletons: Mapping[str, UsdSkeleton]
    rows: Mapping[str, int]
    called: Mapping[str, Mapping[str, int]]
    problems: list[str]


def read_usd_mesh(path: Path, joints: Sequence[str], chosen: Collection[str] = ()) -> Mesh:
    """The chosen meshes of a stage as one (none chosen: every skinned one; without any, every mesh).

    Vertices are the mesh's points, split where uvs or normals differ from face to face. `joints` are the names of
    the rig's skeleton in its order. Raises UnreadableModel.
    """
    stage = read_stage(path)
    names = distinct([mesh.name for mesh in stage.meshes], [], "meshes")
    named = list(zip(stage.meshes, names, strict=True))
    for name in sorted(set(chosen) - set(names)):
        raise UnreadableModel(f"it has no mesh `{name}`")
    shown = [one for one, taken in zip(named, taken_meshes(stage, chosen), strict=True) if taken]
    rows = {name: row for row, name in enumerate(joints)}
    called = {
        skeleton: {joint: rows[name] for joint, name in own.items() if name in rows}
        for skeleton, own in joint_names(stage, chosen).items()
    }
    skeletons = {skeleton.path: skeleton for skeleton in stage.skeletons}
    file = _UsdMeshes(tuple(chosen), stage, skeletons, rows, called, list(stage.problems))
    pieces = [_piece(file, mesh, name, number) for number, (mesh, name) in enumerate(shown)]
    return put_together(pieces, file.problems)


def _piece(file: _UsdMeshes, mesh: UsdMesh, name: str, number: int) -> MeshPiece:
    points = _vectors(mesh.points, 3, f"the points of `{name}`")
    corners = corners_of(
        _whole(mesh.counts, f"the face sizes of `{name}`"),
        _whole(mesh.corners, f"the faces of `{name}`"),
        len(points),
        name,
    )
    if mesh.skinned:
        to_model, binding = _skinned(file, mesh, len(points), name)
    else:
        to_model, binding = _matrices(mesh.to_model)[0], _unskinned(file, len(points), name)
    uvs = {uv_set.name: _uvs(uv_set, corners, name) for uv_set in mesh.uv_sets}
    split = split_at_seams(corners, uvs, _normals(mesh, corners, name))
    triangles = split.triangles
    if mesh.left_handed != (np.linalg.det(to_model[:3, :3]) < 0.0):
        triangles = triangles[:, ::-1]
    linear, back = to_model[:3, :3], _inverse(to_model, f"the transform of `{name}`")[:3, :3].T
    normals, lengths = None, np.ones((len(split.points), 1))
    if split.normals is not None:
        normals, lengths = carried_normals(split.normals, back)
    morphs = {
        shape: Morphed(
            (moved.offsets @ linear)[split.points],
            None if normals is None or moved.normals is None else (moved.normals @ back)[split.points] / lengths,
        )
        for shape, moved in _blend_shapes(mesh, len(points), name).items()
    }
    carried = replace(binding, joints=binding.joints[split.points], weights=binding.weights[split.points])
    positions = (points @ linear + to_model[3, :3])[split.points]
    return MeshPiece(
        mesh=name,
        node=None,
        primitives=(0,),
        shown=number,
        positions=positions,
        triangles=triangles,
        normals=normals,
        uvs=split.uvs,
        binding=carried,
        morphs=morphs,
        points=split.points if len(split.points) > len(points) else None,
        to_model=to_model.T,
    )


# ---- values -----------------------------------------------------------------------------------------


def _array(array: UsdArray) -> np.ndarray[tuple[int, ...], np.dtype[np.generic]]:
    usable = array.usable()
    return np.frombuffer(usable.data, np.dtype(usable.element)).reshape(usable.shape)


def _vectors(array: UsdArray, width: int, what: str) -> Floats:
    """Values as floats (n, width). Raises UnreadableModel where they are others, or one is no number."""
    values = _array(array)
    if values.size and (values.shape[1:] != ((width,) if width > 1 else ()) or array.element not in FRACTIONS):
        raise UnreadableModel(f"{what} are not made of {width} floating-point numbers each")
    result: Floats = values.astype(np.float64).reshape(-1, width)
    if not np.all(np.isfinite(result)):
        raise UnreadableModel(f"{what} hold values that are no numbers")
    return result


def _whole(array: UsdArray, what: str) -> Integers:
    """Values as whole numbers (n,). Raises UnreadableModel where they are others."""
    values = _array(array)
    if values.size and (values.ndim != 1 or array.element not in WHOLE_NUMBERS):
        raise UnreadableModel(f"{what} are not whole numbers")
    return values.reshape(-1).astype(np.int64)


def _matrices(array: UsdArray) -> Floats:
    """Matrices (n, 4, 4). Raises UnreadableModel."""
    result = _array(array).astype(np.float64)
    if result.shape[1:] != (4, 4) or not np.all(np.isfinite(result)):
        raise UnreadableModel("a transform holds values that are no numbers")
    return result


def _inverse(matrix: Floats, what: str) -> Floats:
    if abs(np.linalg.det(matrix)) < 1e-30:
        raise UnreadableModel(f"{what} cannot be inverted")
    return np.asarray(np.linalg.inv(matrix))


def _uvs(uv_set: UsdPrimvar, corners: Corners, name: str) -> Floats:
    values = _vectors(uv_set.values, 2, f"the uvs of `{name}`")
    placed = per_corner(values, uv_set.interpolation, corners, f"`{uv_set.name}` of `{name}`")
    return placed * (1.0, -1.0) + (0.0, 1.0)


def _normals(mesh: UsdMesh, corners: Corners, name: str) -> Floats | None:
    """Normals for each corner."""
    what = f"the normals of `{name}`"
    values = _vectors(mesh.normals.values, 3, what)
    return per_corner(values, mesh.normals.interpolation, corners, what) if len(values) else None


def _blend_shapes(mesh: UsdMesh, count: int, name: str) -> dict[str, Morphed]:
    """What each blend shape moves, for every point."""
    if mesh.shape_fault:
        raise UnreadableModel(mesh.shape_fault)
    shape_names = distinct(list(mesh.shape_names), [], "blend shapes")
    return {
        token: _blend_shape(shape, token, count, name)
        for token, shape in zip(shape_names, mesh.blend_shapes, strict=False)
    }


def _blend_shape(shape: UsdBlendShape | None, token: str, count: int, name: str) -> Morphed:
    if shape is None:
        raise UnreadableModel(f"`{name}` refers to a blend shape `{token}` that is not there")
    offsets = _vectors(shape.offsets, 3, f"the offsets of `{token}`")
    turns = _vectors(shape.normal_offsets, 3, f"the normal offsets of `{token}`")
    if shape.points is None:
        where = np.arange(max(len(offsets), len(turns)))
    else:
        where = _whole(shape.points, f"the points of the blend shape `{token}`")
    if not len(offsets):
        offsets = np.zeros((len(where), 3))
    if len(where) != len(offsets) or (len(turns) and len(turns) != len(where)):
        raise UnreadableModel(f"the blend shape `{token}` of `{name}` has not one offset for each of its points")
    if len(where) and not 0 <= where.min() <= where.max() < count:
        raise UnreadableModel(f"the blend shape `{token}` of `{name}` moves points that are not there")
    return Morphed(_spread(offsets, where, count), _spread(turns, where, count) if len(turns) else None)


def _spread(values: Floats, where: Integers, count: int) -> Floats:
    result = np.zeros((count, 3))
    result[where] = values
    return result


# ---- bindings ---------------------------------------------------------------------------------------


def _skinned(file: _UsdMeshes, mesh: UsdMesh, count: int, name: str) -> tuple[Floats, Binding]:
    """From the mesh's space to the model's, and how the mesh hangs on its skeleton."""
    if mesh.skin is None or mesh.skeleton is None or mesh.skeleton not in file.skeletons:
        raise UnreadableModel(mesh.skin_fault or f"`{name}` is bound to a skeleton that is not there")
    skin, skeleton = mesh.skin, file.skeletons[mesh.skeleton].usable()
    above, binds = _matrices(skeleton.to_model)[0], _matrices(skeleton.binds)
    own = skeleton.joints if not skin.joints else skin.joints
    if len(binds) != len(skeleton.joints):
        raise UnreadableModel(f"{skeleton.path} has not one bind transform for each joint")
    place = {path: row for row, path in enumerate(skeleton.joints)}
    rows = file.called.get(skeleton.path, {})
    lost = [path for path in own if path not in place or path not in rows]
    if lost:
        raise UnreadableModel(f"`{name}` is bound to the joint `{lost[0]}`, which its skeleton does not have")
    joints = _whole(skin.indices, f"the joint indices of `{name}`")
    weights = _vectors(skin.weights, 1, f"the weights of `{name}`")[:, 0]
    each = max(skin.each, 1)
    if len(joints) != len(weights) or len(joints) % each:
        raise UnreadableModel(f"`{name}` has not one weight for each joint index")
    joints, weights = joints.reshape(-1, each), weights.reshape(-1, each)
    if skin.rigid:
        joints, weights = np.repeat(joints[:1], count, axis=0), np.repeat(weights[:1], count, axis=0)
    if len(joints) != count:
        raise UnreadableModel(f"`{name}` has {count} points, but joints for {len(joints)}")
    if np.any((weights != 0.0) & ((joints < 0) | (joints >= len(own)))):
        raise UnreadableModel(f"`{name}` is bound to joints beyond the {len(own)} that it lists")
    undone = _inverse(above, "the skeleton's transform")
    inverse_binds = [(undone @ _inverse(binds[place[path]], "a bind transform")).T for path in own]
    # A joint is a root where no other of the list lies above it.
    root = min(range(len(own)), key=lambda row: (own[row].count("/"), row))
    clean = put_right(joints, weights, root, name, file.problems)
    rig_rows = np.array([rows[path] for path in own], np.int64)
    return _matrices(skin.bind)[0] @ above, Binding(clean[0], clean[1], rig_rows, np.array(inverse_binds))


def _unskinned(file: _UsdMeshes, count: int, name: str) -> Binding:
    """A mesh without a skin goes with the first joint, if there is any, from where it stands at rest."""
    skeleton = outline_of_stage(file.stage, file.chosen).skeleton
    known = [(file.rows[joint.name], number) for number, joint in enumerate(skeleton.joints) if joint.name in file.rows]
    if not known:
        nothing = np.zeros(0, np.int64)
        return Binding(np.zeros((count, 0), np.int64), np.zeros((count, 0)), nothing, np.zeros((0, 4, 4)))
    row, number = known[0]
    file.problems.append(f"`{name}` has no skin; it is taken to go with `{skeleton.joints[number].name}`")
    rest = np.eye(4)
    rest[:3, :3], rest[:3, 3] = skeleton.frames[number].linear, skeleton.frames[number].origin
    inverse = _inverse(rest, f"the rest frame of `{skeleton.joints[number].name}`")
    return Binding(np.zeros((count, 1), np.int64), np.ones((count, 1)), np.array([row], np.int64), inverse[None])
