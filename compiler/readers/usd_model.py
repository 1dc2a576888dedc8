"""The outline of an OpenUSD model with UsdSkel skinning, through the optional library usd-core.

Rest frames are turned to y up and metres at the roots, where the stage is z up or measures otherwise. The
placement of the Skeleton prim in the stage counts, as it does in UsdSkel
(openusd.org/release/api/_usd_skel__schemas.html).
"""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

from plica.readers.decompose import SHEAR_LIMIT, decompose
from plica.readers.gltf_skeleton import checked_skeleton
from plica.readers.outline import MeshOutline, ModelOutline, UnreadableModel, distinct
from plica.readers.usd_layers import layers_of
from plica.skeleton.model import Joint

if TYPE_CHECKING:
    from pxr import Gf, Usd, UsdGeom, UsdSkel


def outline_of_usd(path: Path, chosen: Collection[str] = ()) -> ModelOutline:
    """The outline of a stage; `chosen` names the meshes whose skeletons matter (empty: every mesh).

    Joints are named by the last part of their path, or by the whole path where that is not unique. Raises
    UnreadableModel, also where usd-core is not installed.
    """
    stage = open_stage(path)
    problems: list[str] = []
    prims = mesh_prims(stage)
    names = distinct([prim.GetName() for prim in prims], problems, "meshes")
    meshes = tuple(_mesh_outline(prim, name) for prim, name in zip(prims, names, strict=True))
    skeletons = _skeletons(stage, prims, names, chosen)
    joints: list[Joint] = []
    paths = [_joint_paths(skeleton) for skeleton in skeletons]
    for skeleton, own in zip(skeletons, paths, strict=True):
        joints += _joints_of(stage, skeleton, own, len(joints), problems)
    unique = _unique_names(paths, problems)
    joints = [joint._replace(name=name) for joint, name in zip(joints, unique, strict=True)]
    binds = [bool(skeleton.GetBindTransformsAttr().Get()) for skeleton in skeletons]
    return ModelOutline(
        skeleton=checked_skeleton(joints),
        meshes=meshes,
        animations=_animations(stage),
        inverse_binds=bool(joints) and all(binds),
        problems=tuple(problems),
    )


def open_stage(path: Path) -> Usd.Stage:
    """The stage of a file whose layers all lie in the file's folder. Raises UnreadableModel."""
    layers = layers_of(path)  # all looked at before a stage opens them, and held so that it does not read them again
    from pxr import Tf, Usd, UsdUtils

    listener = UsdUtils.CoalescingDiagnosticDelegate()  # else the library prints to the terminal
    try:
        stage = Usd.Stage.Open(str(path))
    except Tf.ErrorException as error:
        raise UnreadableModel("it is damaged, or not OpenUSD") from error
    finally:
        listener.TakeUncoalescedDiagnostics()
    if stage is None:
        raise UnreadableModel("it is damaged, or not OpenUSD")
    folder = path.resolve().parent
    for layer in stage.GetUsedLayers():
        place = str(layer.realPath).split("[")[0]
        if place and not Path(place).resolve().is_relative_to(folder):
            raise UnreadableModel(f"it draws in `{Path(place).name}` from outside its folder")
    del layers
    return stage


def mesh_prims(stage: Usd.Stage) -> list[Usd.Prim]:
    """The stage's meshes, in its order."""
    from pxr import UsdGeom

    return [prim for prim in stage.Traverse() if prim.IsA(UsdGeom.Mesh)]


def _skeletons(
    stage: Usd.Stage, prims: list[Usd.Prim], names: tuple[str, ...], chosen: Collection[str]
) -> list[UsdSkel.Skeleton]:
    """The skeletons bound to the chosen meshes; every one where none is chosen or none of them has one."""
    from pxr import UsdSkel

    bound = {
        skeleton.GetPath()
        for prim, name in zip(prims, names, strict=True)
        if name in chosen and (skeleton := UsdSkel.BindingAPI(prim).GetInheritedSkeleton())
    }
    every = [UsdSkel.Skeleton(prim) for prim in stage.Traverse() if prim.IsA(UsdSkel.Skeleton)]
    return [skeleton for skeleton in every if skeleton.GetPath() in bound] or every


def joint_names(stage: Usd.Stage, chosen: Collection[str] = ()) -> dict[str, dict[str, str]]:
    """What the outline calls the joints: by the skeleton's path and the joint's own path in it."""
    prims = mesh_prims(stage)
    names = distinct([prim.GetName() for prim in prims], [], "meshes")
    skeletons = _skeletons(stage, prims, names, chosen)
    paths = [_joint_paths(skeleton) for skeleton in skeletons]
    unique = iter(_unique_names(paths, []))
    return {
        str(skeleton.GetPath()): dict(zip(own, unique, strict=False))
        for skeleton, own in zip(skeletons, paths, strict=True)
    }


def _joint_paths(skeleton: UsdSkel.Skeleton) -> list[str]:
    return [str(joint) for joint in skeleton.GetJointsAttr().Get() or ()]


def _unique_names(paths: list[list[str]], problems: list[str]) -> tuple[str, ...]:
    return distinct(_joint_names([path for own in paths for path in own]), problems, "joints")


def _joint_names(paths: list[str]) -> list[str]:
    last = [path.rsplit("/", 1)[-1] for path in paths]
    repeated = {name for name in last if last.count(name) > 1} if len(set(last)) < len(last) else set()
    return [path if name in repeated else name for path, name in zip(paths, last, strict=True)]


def _joints_of(
    stage: Usd.Stage, skeleton: UsdSkel.Skeleton, paths: list[str], first: int, problems: list[str]
) -> list[Joint]:
    from pxr import UsdSkel

    topology = UsdSkel.Topology(paths)
    valid, reason = topology.Validate()
    if not valid or len(set(paths)) != len(paths):
        raise UnreadableModel(f"the joints of {skeleton.GetPath()} are not in order: {reason or 'one comes twice'}")
    parents = [topology.GetParent(number) for number in range(len(paths))]
    rest = _rest_transforms(skeleton, parents, problems)
    above = to_metres_y_up(stage, skeleton)
    joints = []
    for path, parent, matrix in zip(paths, parents, rest, strict=True):
        joints.append(
            _joint(
                path,
                None if parent < 0 else first + parent,
                matrix * above if parent < 0 else matrix,
                problems,
            )
        )
    return joints


def _joint(path: str, parent: int | None, matrix: Gf.Matrix4d, problems: list[str]) -> Joint:
    rows = [tuple(float(value) for value in row) for row in matrix]  # OpenUSD: row vectors, origin in the last row
    if not all(abs(value) < 1e12 for row in rows for value in row):
        raise UnreadableModel(f"the rest transform of joint `{path}` is not a usable number")
    a, b, c, origin = rows
    place = decompose(((a[0], b[0], c[0]), (a[1], b[1], c[1]), (a[2], b[2], c[2])), (origin[0], origin[1], origin[2]))
    if place.shear > SHEAR_LIMIT:
        problems.append(
            f"the rest transform of joint `{path}` is not made of translation, rotation and scale alone; "
            "what is beyond them is dropped"
        )
    return Joint(path, parent, place.translation, place.rotation, place.scale)


def _rest_transforms(skeleton: UsdSkel.Skeleton, parents: list[int], problems: list[str]) -> list[Gf.Matrix4d]:
    """Local rest transforms; from the bind pose where the file states no rest pose."""
    rest = list(skeleton.GetRestTransformsAttr().Get() or ())
    if len(rest) == len(parents):
        return rest
    bind = list(skeleton.GetBindTransformsAttr().Get() or ())
    if len(bind) != len(parents):
        raise UnreadableModel(f"{skeleton.GetPath()} states neither a rest nor a bind transform for each joint")
    problems.append(f"{skeleton.GetPath()} states no rest pose; its bind pose is taken for it")
    if any(abs(matrix.GetDeterminant()) < 1e-30 for matrix in bind):
        raise UnreadableModel(f"a bind transform of {skeleton.GetPath()} cannot be inverted")
    return [
        matrix if parent < 0 else matrix * bind[parent].GetInverse()
        for matrix, parent in zip(bind, parents, strict=True)
    ]


def to_metres_y_up(stage: Usd.Stage, placed: UsdGeom.Xformable) -> Gf.Matrix4d:
    """From a prim's own space to the model's: its place in the stage, then units, then the up axis."""
    from pxr import Gf, Usd, UsdGeom

    world = UsdGeom.Xformable(placed).ComputeLocalToWorldTransform(Usd.TimeCode.Default())
    metres = Gf.Matrix4d().SetScale(UsdGeom.GetStageMetersPerUnit(stage))
    turned = Gf.Matrix4d(1.0)
    if UsdGeom.GetStageUpAxis(stage) == UsdGeom.Tokens.z:
        turned.SetRotate(Gf.Rotation(Gf.Vec3d(1, 0, 0), -90.0))
    return world * metres * turned


def _mesh_outline(prim: Usd.Prim, name: str) -> MeshOutline:
    from pxr import UsdGeom, UsdSkel

    points = UsdGeom.Mesh(prim).GetPointsAttr().Get()
    binding = UsdSkel.BindingAPI(prim)
    uv_sets = tuple(str(primvar.GetPrimvarName()) for primvar in uv_primvars(prim))
    shapes = tuple(str(shape) for shape in binding.GetBlendShapesAttr().Get() or ())
    return MeshOutline(name, len(points or ()), uv_sets, distinct(list(shapes), [], "blend shapes"), is_skinned(prim))


def is_skinned(prim: Usd.Prim) -> bool:
    """Whether a skeleton moves a mesh."""
    from pxr import UsdSkel

    binding = UsdSkel.BindingAPI(prim)
    weights = binding.GetJointIndicesPrimvar()
    # Skinning reaches what lies below a SkelRoot; baked files keep the binding outside of one.
    return bool(UsdSkel.Root.Find(prim) and weights.HasValue() and binding.GetInheritedSkeleton())


def uv_primvars(prim: Usd.Prim) -> list[UsdGeom.Primvar]:
    """The primvars of a mesh that hold two numbers for each place."""
    from pxr import UsdGeom

    two_numbers = ("texCoord2f[]", "texCoord2d[]", "texCoord2h[]", "float2[]")
    held = UsdGeom.PrimvarsAPI(prim).GetPrimvarsWithValues()
    return [primvar for primvar in held if str(primvar.GetTypeName()) in two_numbers]


def _animations(stage: Usd.Stage) -> tuple[str, ...]:
    from pxr import UsdSkel

    return distinct([prim.GetName() for prim in stage.Traverse() if prim.IsA(UsdSkel.Animation)], [], "animations")
