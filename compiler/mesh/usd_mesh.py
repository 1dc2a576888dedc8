"""Meshes of an OpenUSD stage with their UsdSkel skinning and blend shapes, through the optional library usd-core.

Rules: openusd.org/release/api/_usd_skel__schemas.html. Positions go through geomBindTransform, then through what turns
the skeleton's space into the model's (metres, y up); inverse binds undo the latter, so that the rig's joints carry
them. Matrices of OpenUSD take row vectors; here they are turned round where they leave this module.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from plica.mesh.assemble import Binding, Morphed, Piece, put_right, put_together
from plica.mesh.model import Floats, Integers, Mesh
from plica.mesh.polygons import Corners, corners_of, per_corner, split_at_seams
from plica.readers.outline import UnreadableModel, distinct
from plica.readers.usd_model import (
    is_skinned,
    joint_names,
    mesh_prims,
    open_stage,
    outline_of_usd,
    to_metres_y_up,
    uv_primvars,
)

if TYPE_CHECKING:
    from pxr import Usd, UsdSkel


class _File(NamedTuple):
    """The stage, the rows of the rig's joints by name, and by skeleton and path; what had to be put right."""

    path: Path
    chosen: tuple[str, ...]
    stage: Usd.Stage
    rows: Mapping[str, int]
    called: Mapping[str, Mapping[str, int]]
    problems: list[str]


def read_usd_mesh(path: Path, joints: Sequence[str], chosen: Collection[str] = ()) -> Mesh:
    """The chosen meshes of a stage as one (none chosen: every skinned one; without any, every mesh).

    Vertices are the mesh's points, split where uvs or normals differ from face to face. `joints` are the names of
    the rig's skeleton in its order. Raises UnreadableModel.
    """
    stage = open_stage(path)
    prims = mesh_prims(stage)
    names = distinct([prim.GetName() for prim in prims], [], "meshes")
    for name in sorted(set(chosen) - set(names)):
        raise UnreadableModel(f"it has no mesh `{name}`")
    shown = [(prim, name) for prim, name in zip(prims, names, strict=True) if name in chosen] if chosen else []
    shown = shown or [(prim, name) for prim, name in zip(prims, names, strict=True) if is_skinned(prim)]
    shown = shown or list(zip(prims, names, strict=True))
    rows = {name: row for row, name in enumerate(joints)}
    called = {
        skeleton: {joint: rows[name] for joint, name in own.items() if name in rows}
        for skeleton, own in joint_names(stage, chosen).items()
    }
    file = _File(path, tuple(chosen), stage, rows, called, [])
    pieces = [_piece(file, prim, name, number) for number, (prim, name) in enumerate(shown)]
    return put_together(pieces, file.problems)


def _piece(file: _File, prim: Usd.Prim, name: str, number: int) -> Piece:
    from pxr import UsdGeom, UsdSkel

    mesh = UsdGeom.Mesh(prim)
    points = _vectors(mesh.GetPointsAttr().Get(), 3, f"the points of `{name}`")
    corners = corners_of(
        np.array(mesh.GetFaceVertexCountsAttr().Get() or (), np.int64),
        np.array(mesh.GetFaceVertexIndicesAttr().Get() or (), np.int64),
        len(points),
        name,
    )
    skeleton = UsdSkel.BindingAPI(prim).GetInheritedSkeleton() if is_skinned(prim) else None
    if skeleton:
        query = UsdSkel.Cache()
        query.Populate(UsdSkel.Root.Find(prim), _default_predicate())
        found = query.GetSkinningQuery(prim)
        above = _matrix(to_metres_y_up(file.stage, skeleton))
        to_model = _matrix(found.GetGeomBindTransform()) @ above
        binding = _skinned(found, skeleton, above, len(points), name, file)
    else:
        to_model = _matrix(to_metres_y_up(file.stage, mesh))
        binding = _unskinned(file, len(points), name)
    uvs = {}
    for primvar in uv_primvars(prim):
        values = _vectors(primvar.ComputeFlattened(), 2, f"the uvs of `{name}`")
        key = str(primvar.GetPrimvarName())
        uvs[key] = per_corner(values, primvar.GetInterpolation(), corners, f"`{key}` of `{name}`") * (1.0, -1.0) + (
            0.0,
            1.0,
        )
    split = split_at_seams(corners, uvs, _normals(mesh, corners, name))
    triangles = split.triangles
    if (mesh.GetOrientationAttr().Get() == UsdGeom.Tokens.leftHanded) != (np.linalg.det(to_model[:3, :3]) < 0.0):
        triangles = triangles[:, ::-1]
    linear, back = to_model[:3, :3], _inverse(to_model, f"the transform of `{name}`")[:3, :3].T
    normals, lengths = None, np.ones((len(split.points), 1))
    if split.normals is not None:
        normals = split.normals @ back
        lengths = np.linalg.norm(normals, axis=1, keepdims=True)
        lengths = np.where(lengths > 0.0, lengths, 1.0)
        normals = normals / lengths
    morphs = {
        shape: Morphed(
            (moved.offsets @ linear)[split.points],
            None if normals is None or moved.normals is None else (moved.normals @ back)[split.points] / lengths,
        )
        for shape, moved in _blend_shapes(file.stage, prim, len(points), name).items()
    }
    carried = replace(binding, joints=binding.joints[split.points], weights=binding.weights[split.points])
    positions = (points @ linear + to_model[3, :3])[split.points]
    return Piece(name, 0, number, positions, triangles, normals, split.uvs, carried, morphs)


def _default_predicate() -> Any:
    from pxr import Usd

    return Usd.PrimDefaultPredicate


# ---- values -----------------------------------------------------------------------------------------


def _vectors(values: Any, width: int, what: str) -> Floats:
    """Values as floats (n, width). Raises UnreadableModel where one is no number."""
    found: Floats = np.array(values if values is not None else (), dtype=np.float64).reshape(-1, width)
    if not np.all(np.isfinite(found)):
        raise UnreadableModel(f"{what} hold values that are no numbers")
    return found


def _matrix(matrix: Any) -> Floats:
    found: Floats = np.array(matrix, dtype=np.float64)
    if not np.all(np.isfinite(found)):
        raise UnreadableModel("a transform holds values that are no numbers")
    return found


def _inverse(matrix: Floats, what: str) -> Floats:
    if abs(np.linalg.det(matrix)) < 1e-30:
        raise UnreadableModel(f"{what} cannot be inverted")
    return np.asarray(np.linalg.inv(matrix))


def _normals(mesh: Any, corners: Corners, name: str) -> Floats | None:
    """Normals for each corner; the primvar `normals` goes before the attribute (UsdGeomPointBased)."""
    from pxr import UsdGeom

    primvar = UsdGeom.PrimvarsAPI(mesh).GetPrimvar("normals")
    if primvar and primvar.HasValue():
        values, interpolation = primvar.ComputeFlattened(), primvar.GetInterpolation()
    else:
        values, interpolation = mesh.GetNormalsAttr().Get(), mesh.GetNormalsInterpolation()
    if not values:
        return None
    return per_corner(
        _vectors(values, 3, f"the normals of `{name}`"), interpolation, corners, f"the normals of `{name}`"
    )


def _blend_shapes(stage: Usd.Stage, prim: Usd.Prim, count: int, name: str) -> dict[str, Morphed]:
    """What each blend shape moves, for every point."""
    from pxr import UsdSkel

    binding = UsdSkel.BindingAPI(prim)
    tokens = distinct([str(token) for token in binding.GetBlendShapesAttr().Get() or ()], [], "blend shapes")
    targets = binding.GetBlendShapeTargetsRel().GetTargets() if binding.GetBlendShapeTargetsRel() else []
    found = {}
    for token, target in zip(tokens, targets, strict=False):
        shape = UsdSkel.BlendShape(stage.GetPrimAtPath(target))
        if not shape:
            raise UnreadableModel(f"`{name}` refers to a blend shape `{token}` that is not there")
        offsets = _vectors(shape.GetOffsetsAttr().Get(), 3, f"the offsets of `{token}`")
        turns = _vectors(shape.GetNormalOffsetsAttr().Get(), 3, f"the normal offsets of `{token}`")
        where = np.array(shape.GetPointIndicesAttr().Get() or (), np.int64)
        if not shape.GetPointIndicesAttr().HasAuthoredValue():
            where = np.arange(max(len(offsets), len(turns)))
        if not len(offsets):
            offsets = np.zeros((len(where), 3))
        if len(where) != len(offsets) or (len(turns) and len(turns) != len(where)):
            raise UnreadableModel(f"the blend shape `{token}` of `{name}` has not one offset for each of its points")
        if len(where) and not 0 <= where.min() <= where.max() < count:
            raise UnreadableModel(f"the blend shape `{token}` of `{name}` moves points that are not there")
        found[token] = Morphed(_spread(offsets, where, count), _spread(turns, where, count) if len(turns) else None)
    return found


def _spread(values: Floats, where: Integers, count: int) -> Floats:
    found = np.zeros((count, 3))
    found[where] = values
    return found


# ---- bindings ---------------------------------------------------------------------------------------


def _skinned(
    query: UsdSkel.SkinningQuery,
    skeleton: UsdSkel.Skeleton,
    above: Floats,
    count: int,
    name: str,
    file: _File,
) -> Binding:
    paths = [str(path) for path in skeleton.GetJointsAttr().Get() or ()]
    order = query.GetJointOrder() if query.HasJointInfluences() else None
    own = [str(path) for path in order] if order else paths
    binds = list(skeleton.GetBindTransformsAttr().Get() or ())
    if len(binds) != len(paths):
        raise UnreadableModel(f"{skeleton.GetPath()} has not one bind transform for each joint")
    place = {path: row for row, path in enumerate(paths)}
    rows = file.called.get(str(skeleton.GetPath()), {})
    lost = [path for path in own if path not in place or path not in rows]
    if lost:
        raise UnreadableModel(f"`{name}` is bound to the joint `{lost[0]}`, which its skeleton does not have")
    size = max(query.GetNumInfluencesPerComponent(), 1)
    joints = np.array(query.GetJointIndicesPrimvar().ComputeFlattened() or (), np.int64)
    weights = _vectors(query.GetJointWeightsPrimvar().ComputeFlattened(), 1, f"the weights of `{name}`")[:, 0]
    if len(joints) != len(weights) or len(joints) % size:
        raise UnreadableModel(f"`{name}` has not one weight for each joint index")
    joints, weights = joints.reshape(-1, size), weights.reshape(-1, size)
    if query.IsRigidlyDeformed():
        joints, weights = np.repeat(joints[:1], count, axis=0), np.repeat(weights[:1], count, axis=0)
    if len(joints) != count:
        raise UnreadableModel(f"`{name}` has {count} points, but joints for {len(joints)}")
    used = weights != 0.0
    if np.any(used & ((joints < 0) | (joints >= len(own)))):
        raise UnreadableModel(f"`{name}` is bound to joints beyond the {len(own)} that it lists")
    undone = _inverse(above, "the skeleton's transform")
    inverse_binds = [(undone @ _inverse(_matrix(binds[place[path]]), "a bind transform")).T for path in own]
    # A joint is a root where no other of the list lies above it.
    root = min(range(len(own)), key=lambda row: (own[row].count("/"), row))
    clean = put_right(joints, weights, root, name, file.problems)
    return Binding(clean[0], clean[1], np.array([rows[path] for path in own], np.int64), np.array(inverse_binds))


def _unskinned(file: _File, count: int, name: str) -> Binding:
    """A mesh without a skin goes with the first joint, if there is any, from where it stands at rest."""
    skeleton = outline_of_usd(file.path, file.chosen).skeleton
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
