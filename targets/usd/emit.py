"""The layer of a character: skin, shapes, clips, folds, and the rig that it came from."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any, Final, NamedTuple

from pxr import Sdf, Usd, UsdGeom, UsdShade, UsdSkel

from plica.diagnostics import Diagnostics
from plica.diagnostics.suggest import did_you_mean
from plica.emit.build import Build
from plica.emit.masks import direction_places, mask_places
from plica.emit.output_file_names import safe_file_name
from plica.emit.source_model import located_model
from plica.mesh.mesh_reader import mesh_of_rig
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import tell
from plica.readers.usd_extract import CARRIED_FORMAT, CARRIED_KEY
from plica.rig.carried import CARRIED_VERSION
from plica.rig.rig_json import write_rig
from plica.targets.materialx.document import Names
from plica.targets.materialx.emit import FoldMaps, graph_plans
from plica.targets.usd.animations import CODES_A_SECOND, set_samples, write_motions
from plica.targets.usd.materials import write_material
from plica.targets.usd.motion import SampledClip, motions, still
from plica.targets.usd.skeleton import free_name, joint_tree
from plica.targets.usd.stage import SkinPrims, blend_shapes, uv_primvar, write_skin
from plica.texture.mask_set import MaskOptions

TARGET: Final = "usd"


class UsdOptions(NamedTuple):
    """Files of clips, the clip that plays, whether the file is binary, and how masks are made."""

    clips: tuple[str, ...] = ()
    plays: str = ""
    binary: bool = False
    masks: MaskOptions | None = None


def usd_files(build: Build, options: UsdOptions, diagnostics: Diagnostics) -> dict[str, bytes]:
    """The layer by its name; nothing, after diagnostics, where it cannot be written."""
    found = located_model(build, "usd-without-model", diagnostics)
    if found is None:
        return {}
    path, file = found
    character = build.rig.character
    errors = diagnostics.count_of_errors
    try:
        stage = _stage(build, path, options, diagnostics)
    except UnreadableModel as error:
        tell(error, "usd-not-written", file, build.span_of("character", build.rig.character.name), diagnostics)
        return {}
    if diagnostics.count_of_errors > errors:
        return {}
    name = f"{safe_file_name(character.name)}.rigged"
    return {f"{name}.usdc": _crate(stage)} if options.binary else {f"{name}.usda": _text(stage)}


def _stage(build: Build, path: Path, options: UsdOptions, diagnostics: Diagnostics) -> Any:
    build.step("reading the mesh")
    rig, attached = build.rig, build.attached
    mesh = mesh_of_rig(rig, path) if attached is None else attached.mesh
    shapes = {} if attached is None else attached.shapes
    tree = joint_tree(rig)
    stage = Usd.Stage.CreateInMemory()
    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.y)
    UsdGeom.SetStageMetersPerUnit(stage, 1.0)
    stage.SetTimeCodesPerSecond(CODES_A_SECOND)
    root = f"/{free_name(rig.character.name, set())}"
    skin_root = UsdSkel.Root.Define(stage, root)
    stage.SetDefaultPrim(skin_root.GetPrim())
    build.step("writing skin and shapes")
    skin = write_skin(stage, root, rig, mesh, shapes, tree)
    moved = motions(build, tree, options.clips, diagnostics) or [still(build, tree)]
    played = _played(moved, options.plays, diagnostics)
    animations = write_motions(stage, f"{root}/Motions", tree, blend_shapes(rig, mesh, shapes), moved)
    UsdGeom.Scope.Define(stage, f"{root}/Motions")
    for skeleton in skin.skeletons:
        prim = stage.GetPrimAtPath(skeleton)
        UsdSkel.BindingAPI(prim).CreateAnimationSourceRel().SetTargets([animations[played.name]])
    stage.SetStartTimeCode(float(played.times[0]) * CODES_A_SECOND)
    stage.SetEndTimeCode(float(played.times[-1]) * CODES_A_SECOND)
    if attached is not None and rig.details:
        _write_materials(stage, f"{root}/Materials", build, (skin, played, options.masks), diagnostics)
    elif rig.folds:
        diagnostics.add("usd-without-folds", build.span_of("fold", rig.folds[0].name))
    stage.GetRootLayer().customLayerData = {CARRIED_KEY: _carried(build)}
    return stage


def _played(moved: list[SampledClip], wanted: str, diagnostics: Diagnostics) -> SampledClip:
    names = {motion.name: motion for motion in moved}
    if wanted and wanted not in names:
        hint = did_you_mean(wanted, names) or "its clips are " + ", ".join(f"`{name}`" for name in names)
        problem = f"there is no clip `{wanted}`"
        diagnostics.add("bad-target-option", None, hint=hint, target=TARGET, option="plays", problem=problem)
    return names.get(wanted, moved[0])


def _write_materials(
    stage: Any,
    root: str,
    build: Build,
    shown: tuple[SkinPrims, SampledClip, MaskOptions | None],
    diagnostics: Diagnostics,
) -> None:
    """A material for each detail; the first is bound to every mesh, and all fade as the clip that plays has it."""
    skin, played, masks = shown
    assert build.attached is not None
    places = FoldMaps(mask_places(build, diagnostics, masks), direction_places(build, diagnostics, masks))
    UsdGeom.Scope.Define(stage, root)
    bound = None
    for plan in graph_plans(build, places, Names()):
        path = f"{root}/{plan.name}"
        inputs = write_material(stage, path, plan.detail, plan, uv_primvar(build.attached.mesh, plan.detail.uv))
        for fold, held in inputs.items():
            set_samples(held.GetAttr(), played.times, played.folds[fold].tolist())
        if bound is None:
            bound = path
            for mesh in skin.meshes.values():
                prim = stage.GetPrimAtPath(mesh)
                UsdShade.MaterialBindingAPI.Apply(prim).Bind(UsdShade.Material(stage.GetPrimAtPath(path)))
        else:
            span = build.span_of("detail", plan.detail.name)
            diagnostics.add("usd-detail-not-bound", span, detail=plan.detail.name, material=path)


def _carried(build: Build) -> dict[str, Any]:
    """The rig as the layer's own data, its JSON as one text; and the files that it was made of, with their digests."""
    rig, sources = build.rig, build.sources
    return {
        "format": CARRIED_FORMAT,
        "version": CARRIED_VERSION,
        "build": rig.build or "",
        "sources": "{}" if sources is None else json.dumps(dict(sources.digests)),
        "rig": write_rig(rig._replace(offsets=None)),
    }


def _text(stage: Any) -> bytes:
    text: str = stage.GetRootLayer().ExportToString()
    return text.encode("utf-8")


def _crate(stage: Any) -> bytes:
    """The layer in OpenUSD's binary form, which its library writes to files only."""
    with tempfile.TemporaryDirectory(prefix="plica-") as folder:
        file = Path(folder) / "layer.usdc"
        layer = Sdf.Layer.CreateNew(str(file))
        layer.TransferContent(stage.GetRootLayer())
        layer.Save()
        return file.read_bytes()
