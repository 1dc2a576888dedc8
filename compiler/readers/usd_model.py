"""The outline of an OpenUSD model with UsdSkel skinning.

Rest frames are turned to y up and metres at the roots, where the stage is z up or measures otherwise.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from pathlib import Path

from plica.readers.decompose import SHEAR_LIMIT, decompose
from plica.readers.model_outline import MeshOutline, ModelOutline, UnreadableModel, distinct, listed
from plica.readers.skeletons import checked_skeleton
from plica.readers.usd_reader import read_stage
from plica.readers.usd_stage import UsdMesh, UsdSkeleton, UsdStage
from plica.skeleton.bind_pose import BindPose, bind_pose
from plica.skeleton.frames import composed
from plica.skeleton.skeleton import MODEL_FRAME, Frame, Joint, Skeleton


def outline_of_usd(path: Path, chosen: Collection[str] = ()) -> ModelOutline:
    """The outline of a stage; `chosen` names the meshes whose skeletons matter (empty: every mesh).

    Joints are named by the last part of their path, or by the whole path where that is not unique. Raises
    UnreadableModel, also where usd-core is not installed.
    """
    return outline_of_stage(read_stage(path), chosen)


def outline_of_stage(stage: UsdStage, chosen: Collection[str] = ()) -> ModelOutline:
    """The outline of a stage that was read, as `outline_of_usd` gives it."""
    problems = list(stage.problems)
    names = distinct([mesh.name for mesh in stage.meshes], problems, "meshes")
    taken = taken_meshes(stage, chosen)
    left = [name for mesh, name, own in zip(stage.meshes, names, taken, strict=True) if not (own or mesh.skinned)]
    if left and not chosen:
        problems.append(f"no skin moves {listed(left)}, so it is left out; `mesh` can take it in")
    meshes = tuple(
        _mesh_outline(mesh, name, own, problems) for mesh, name, own in zip(stage.meshes, names, taken, strict=True)
    )
    skeletons = _skeletons(stage, names, chosen)
    joints: list[Joint] = []
    for skeleton in skeletons:
        joints += _joints_of(skeleton, len(joints), problems)
    unique = _unique_names(skeletons, problems)
    joints = [joint._replace(name=name) for joint, name in zip(joints, unique, strict=True)]
    rest = checked_skeleton(joints)
    return ModelOutline(
        skeleton=rest,
        bind=_bind_pose(skeletons, rest),
        meshes=meshes,
        animations=distinct(list(stage.animations), [], "animations"),
        inverse_binds=bool(joints) and all(len(skeleton.binds.data) for skeleton in skeletons),
        problems=tuple(problems),
        unit=stage.unit,
        unit_stated=stage.unit_stated,
    )


def taken_meshes(stage: UsdStage, chosen: Collection[str] = ()) -> list[bool]:
    """For each mesh whether it is the character's skin: the chosen; without any the skinned; without those all."""
    names = distinct([mesh.name for mesh in stage.meshes], [], "meshes")
    if chosen:
        return [name in chosen for name in names]
    skinned = [mesh.skinned for mesh in stage.meshes]
    return skinned if any(skinned) else [True] * len(names)


def _bind_pose(skeletons: Sequence[UsdSkeleton], rest: Skeleton) -> BindPose:
    """The bind pose by the bind transforms, which stand in the skeleton's own space (UsdSkelSkeleton)."""
    skins = []
    first = 0
    for skeleton in skeletons:
        binds = skeleton.binds.usable().matrices() if len(skeleton.binds.data) else []
        if len(binds) != len(skeleton.joints):
            return BindPose(None, fault=f"{skeleton.path} states no bind transform for each joint", absent=True)
        above = _frame(skeleton.to_model.usable().matrices()[0])
        skins.append({first + row: composed(above, _frame(matrix)) for row, matrix in enumerate(binds)})
        first += len(skeleton.joints)
    return bind_pose(rest, skins, [(MODEL_FRAME,)] * len(skins))


def _frame(rows: Sequence[Sequence[float]]) -> Frame:
    """A matrix of OpenUSD, which takes row vectors, as a frame."""
    a, b, c, origin = rows
    linear = ((a[0], b[0], c[0]), (a[1], b[1], c[1]), (a[2], b[2], c[2]))
    return Frame(linear, (origin[0], origin[1], origin[2]))


def skeleton_of_prim(prim: UsdSkeleton) -> Skeleton:
    """The skeleton of one Skeleton prim by itself, as the outline has it. Raises UnreadableModel."""
    names = _unique_names([prim], [])
    joints = [joint._replace(name=name) for joint, name in zip(_joints_of(prim, 0, []), names, strict=True)]
    return checked_skeleton(joints)


def joint_names(stage: UsdStage, chosen: Collection[str] = ()) -> dict[str, dict[str, str]]:
    """What the outline calls the joints: by the skeleton's path and the joint's own path in it."""
    names = distinct([mesh.name for mesh in stage.meshes], [], "meshes")
    skeletons = _skeletons(stage, names, chosen)
    unique = iter(_unique_names(skeletons, []))
    return {skeleton.path: dict(zip(skeleton.joints, unique, strict=False)) for skeleton in skeletons}


def _skeletons(stage: UsdStage, names: Sequence[str], chosen: Collection[str]) -> list[UsdSkeleton]:
    """The skeletons bound to the chosen meshes; every one where none is chosen or none of them has one."""
    bound = {mesh.skeleton for mesh, name in zip(stage.meshes, names, strict=True) if name in chosen}
    result = [skeleton for skeleton in stage.skeletons if skeleton.path in bound] or stage.skeletons
    return [skeleton.usable() for skeleton in result]


def _unique_names(skeletons: Sequence[UsdSkeleton], problems: list[str]) -> tuple[str, ...]:
    paths = [path for skeleton in skeletons for path in skeleton.joints]
    named = [name for skeleton in skeletons for name in skeleton.names]
    return distinct(named if len(named) == len(paths) else _joint_names(paths), problems, "joints")


def _joint_names(paths: list[str]) -> list[str]:
    last = [path.rsplit("/", 1)[-1] for path in paths]
    times = Counter(last)
    return [path if times[name] > 1 else name for path, name in zip(paths, last, strict=True)]


def _joints_of(skeleton: UsdSkeleton, first: int, problems: list[str]) -> list[Joint]:
    if not skeleton.rest_stated:
        problems.append(f"{skeleton.path} states no rest pose; its bind pose is taken for it")
    return [
        _joint(path, None if parent < 0 else first + parent, matrix, problems)
        for path, parent, matrix in zip(skeleton.joints, skeleton.parents, skeleton.rest.matrices(), strict=True)
    ]


def _joint(path: str, parent: int | None, rows: Sequence[Sequence[float]], problems: list[str]) -> Joint:
    if not all(abs(value) < 1e12 for row in rows for value in row):
        raise UnreadableModel(f"the rest transform of joint `{path}` is not a usable number")
    a, b, c, origin = rows  # OpenUSD: row vectors, origin in the last row
    place = decompose(((a[0], b[0], c[0]), (a[1], b[1], c[1]), (a[2], b[2], c[2])), (origin[0], origin[1], origin[2]))
    if place.shear > SHEAR_LIMIT:
        problems.append(
            f"the rest transform of joint `{path}` is not made of translation, rotation and scale alone; "
            "what is beyond them is dropped"
        )
    return Joint(path, parent, place.translation, place.rotation, place.scale)


def _mesh_outline(mesh: UsdMesh, name: str, taken: bool, problems: list[str]) -> MeshOutline:
    problems += [fault for fault in (mesh.points.fault, mesh.skin_fault, mesh.shape_fault) if fault]
    uv_sets = tuple(primvar.name for primvar in mesh.uv_sets)
    shapes = distinct(list(mesh.shape_names), [], "blend shapes")
    return MeshOutline(
        name=name,
        vertices=mesh.points.shape[0],
        uv_sets=uv_sets,
        morph_targets=shapes,
        skinned=mesh.skinned,
        taken=taken,
        skinning=None if mesh.skin is None else mesh.skin.method,
        skinning_stated=mesh.skin is not None and mesh.skin.method_stated,
    )
