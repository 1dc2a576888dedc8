"""The skin and its skeletons as prims of a stage."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
from pxr import Gf, Sdf, UsdGeom, UsdSkel, Vt

from plica.mesh.arrays import Floats, Integers, Mesh, MeshPart, Offsets
from plica.mesh.inbetweens import Inbetweens
from plica.readers.model_outline import UnreadableModel
from plica.rig.rig import Rig
from plica.rig.surfaces import Morph
from plica.targets.usd.skeleton import JointTree, bound_skins, free_name, rest_matrices, world_matrices

METHODS: Final = {"linear": "classicLinear", "dual quaternion": "dualQuaternion"}
"""How UsdSkel calls the ways to skin, in `primvars:skel:skinningMethod`."""
_SETS: Final = ("st", "st1", "st2", "st3", "st4", "st5", "st6", "st7")


class SkinPrims(NamedTuple):
    """Where things stand: the skeletons, and the prim of each part that has faces, by the part's number."""

    skeletons: tuple[str, ...]
    meshes: Mapping[int, str]


def uv_primvar(mesh: Mesh, uv: str | None) -> str:
    """The primvar that holds a set of texture coordinates; the first set where none is named."""
    names = list(mesh.uvs)
    return _SETS[names.index(uv) if uv in names else 0]


def write_skin(
    stage: Any, root: str, rig: Rig, mesh: Mesh, shapes: Mapping[str, Inbetweens], tree: JointTree
) -> SkinPrims:
    """Adds skeletons, meshes and blend shapes under `root`. Raises UnreadableModel where nothing has faces."""
    local = rest_matrices(rig, tree)
    world = world_matrices(local, tree.parents)
    taken = {"Motions", "Materials"}
    skeletons: list[str] = []
    meshes: dict[int, str] = {}
    columns = _columns(rig, mesh, shapes)
    for skin in bound_skins(mesh, tree, world):
        path = f"{root}/{free_name('Skeleton', taken)}"
        _write_skeleton(stage, path, rig, tree, (local, skin.binds))
        skeletons.append(path)
        for number in skin.parts:
            part = mesh.parts[number]
            faces = mesh.triangles_in(part)
            if len(faces):
                meshes[number] = f"{root}/{free_name(part.mesh, taken)}"
                _Skinned(stage, meshes[number], mesh, part).write(faces, path, METHODS[rig.character.skinning])
                _write_shapes(stage, meshes[number], part, columns)
    if not meshes:
        raise UnreadableModel("its meshes have no faces")
    return SkinPrims(tuple(skeletons), meshes)


def blend_shapes(rig: Rig, mesh: Mesh, shapes: Mapping[str, Inbetweens]) -> list[str]:
    """The names of all blend shapes: the rig's shapes, then the model's own morph targets that no shape is made of."""
    return list(_columns(rig, mesh, shapes))


def _columns(rig: Rig, mesh: Mesh, shapes: Mapping[str, Inbetweens]) -> dict[str, Inbetweens]:
    replaced = {shape.source.name for shape in rig.shapes if isinstance(shape.source, Morph)}
    own = {name: Inbetweens(moves) for name, moves in mesh.morphs.items() if name not in replaced}
    return {**shapes, **{name: moves for name, moves in own.items() if name not in shapes}}


def _write_skeleton(stage: Any, path: str, rig: Rig, tree: JointTree, frames: tuple[Floats, Floats]) -> None:
    rests, binds = frames
    skeleton = UsdSkel.Skeleton.Define(stage, path)
    UsdSkel.BindingAPI.Apply(skeleton.GetPrim())
    skeleton.CreateJointsAttr(list(tree.paths))
    skeleton.CreateJointNamesAttr([joint.name for joint in rig.skeleton])
    skeleton.CreateRestTransformsAttr(_matrices(rests))
    skeleton.CreateBindTransformsAttr(_matrices(binds))


def _matrices(columns: Floats) -> Any:
    """Matrices for columns as OpenUSD has them, for rows."""
    return Vt.Matrix4dArray([Gf.Matrix4d(*row) for row in columns.transpose(0, 2, 1).reshape(-1, 16).tolist()])


class _Skinned:
    """A part of the mesh as a prim that a skeleton moves; its points are the part's vertices, in their order."""

    def __init__(self, stage: Any, path: str, mesh: Mesh, part: MeshPart) -> None:
        self.prim = UsdGeom.Mesh.Define(stage, path)
        self.mesh, self.part = mesh, part
        self.rows = part.rows

    def write(self, faces: Integers, skeleton: str, method: str) -> None:
        """All that the prim says but its shapes."""
        points = self.mesh.positions[self.rows].astype(np.float32)
        self.prim.CreatePointsAttr(Vt.Vec3fArray.FromNumpy(points))
        self.prim.CreateExtentAttr(Vt.Vec3fArray.FromNumpy(np.stack([points.min(axis=0), points.max(axis=0)])))
        self.prim.CreateFaceVertexCountsAttr(Vt.IntArray.FromNumpy(np.full(len(faces), 3, dtype=np.int32)))
        self.prim.CreateFaceVertexIndicesAttr(Vt.IntArray.FromNumpy(faces.reshape(-1).astype(np.int32)))
        self.prim.CreateSubdivisionSchemeAttr(UsdGeom.Tokens.none)
        if self.mesh.normals is not None:
            normals = self.mesh.normals[self.rows].astype(np.float32)
            self.prim.CreateNormalsAttr(Vt.Vec3fArray.FromNumpy(normals))
            self.prim.SetNormalsInterpolation(UsdGeom.Tokens.vertex)
        self._write_uvs()
        self._bind(skeleton, method)

    def _write_uvs(self) -> None:
        """Texture coordinates with v upward, as OpenUSD has it."""
        primvars = UsdGeom.PrimvarsAPI(self.prim)
        for name, uvs in zip(_SETS, self.mesh.uvs.values(), strict=False):
            values = uvs[self.rows]
            if np.isfinite(values).all():
                primvar = primvars.CreatePrimvar(name, Sdf.ValueTypeNames.TexCoord2fArray, UsdGeom.Tokens.vertex)
                upward = np.stack([values[:, 0], 1.0 - values[:, 1]], axis=1).astype(np.float32)
                primvar.Set(Vt.Vec2fArray.FromNumpy(upward))

    def _bind(self, skeleton: str, method: str) -> None:
        binding = UsdSkel.BindingAPI.Apply(self.prim.GetPrim())
        binding.CreateSkeletonRel().SetTargets([skeleton])
        weights = self.mesh.weights[self.rows].astype(np.float32)
        if not weights.shape[1]:
            return
        joints = np.where(weights > 0.0, self.mesh.bind_joints[self.mesh.joints[self.rows]], 0).astype(np.int32)
        each = weights.shape[1]
        binding.CreateJointIndicesPrimvar(False, each).Set(Vt.IntArray.FromNumpy(joints.reshape(-1)))
        binding.CreateJointWeightsPrimvar(False, each).Set(Vt.FloatArray.FromNumpy(weights.reshape(-1)))
        binding.CreateGeomBindTransformAttr(Gf.Matrix4d(1.0))
        binding.CreateSkinningMethodAttr(method)


# ---- blend shapes


def _write_shapes(stage: Any, mesh: str, part: MeshPart, columns: Mapping[str, Inbetweens]) -> None:
    """The blend shapes that move a part, as prims below it."""
    names, targets = [], []
    taken: set[str] = set()
    for name, shape in columns.items():
        inside = [_inside(offsets, part) for offsets in shape.columns]
        if any(one.count for one in inside):
            path = f"{mesh}/{free_name(name, taken)}"
            _write_shape(stage, path, inside, shape.at)
            names.append(name)
            targets.append(path)
    if names:
        binding = UsdSkel.BindingAPI(stage.GetPrimAtPath(mesh))
        binding.CreateBlendShapesAttr(names)
        binding.CreateBlendShapeTargetsRel().SetTargets(targets)


def _inside(offsets: Offsets, part: MeshPart) -> Offsets:
    """What moves in a part, counted in it."""
    rows = offsets.rows_in(part)
    normals = None if offsets.normals is None else offsets.normals[rows]
    return Offsets(offsets.indices[rows] - part.start, offsets.offsets[rows], normals)


def _write_shape(stage: Any, path: str, columns: Sequence[Offsets], at: Sequence[float]) -> None:
    """A shape and its inbetweens; UsdSkel has them over the same points."""
    points = np.unique(np.concatenate([column.indices for column in columns]))
    shape = UsdSkel.BlendShape.Define(stage, path)
    turned = any(column.normals is not None for column in columns)
    primary, *others = (_spread(column, points, turned) for column in columns)
    shape.CreatePointIndicesAttr(Vt.IntArray.FromNumpy(points.astype(np.int32)))
    shape.CreateOffsetsAttr(primary.offsets)
    if primary.normals is not None:
        shape.CreateNormalOffsetsAttr(primary.normals)
    for number, (strength, values) in enumerate(zip(at, others, strict=True), 1):
        inbetween = shape.CreateInbetween(f"at_{number}")
        inbetween.SetWeight(strength)
        inbetween.SetOffsets(values.offsets)
        if values.normals is not None:
            inbetween.CreateNormalOffsetsAttr(values.normals)


class _Spread(NamedTuple):
    """Offsets at all points of a shape."""

    offsets: Any
    normals: Any


def _spread(column: Offsets, points: Integers, turned: bool) -> _Spread:
    where = np.searchsorted(points, column.indices)
    offsets, normals = np.zeros((len(points), 3), np.float32), np.zeros((len(points), 3), np.float32)
    offsets[where] = column.offsets
    if column.normals is not None:
        normals[where] = column.normals
    return _Spread(Vt.Vec3fArray.FromNumpy(offsets), Vt.Vec3fArray.FromNumpy(normals) if turned else None)
