"""The target `usd`, read again with OpenUSD's own library (usd-core): its baked skin, its validators, its schemas."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import plica
from plica.demo import demo_files
from plica.diff.verdicts import Harm
from plica.rig.rig_json import write_rig
from plica.rig.surfaces import Detail, Fold, MaskPlace
from plica.targets.materialx.graph import GraphPlan, PlacedFold, TextureSpace
from tests.support.arm_models import write_arms
from tests.support.arms import arms_mesh, rig_from
from tests.support.data import shared_data

pytest.importorskip("pxr", reason="usd-core is not installed")
from pxr import Gf, Sdf, Usd, UsdShade, UsdSkel

from plica.targets.usd.materials import write_material

UNKNOWN_NODES = "MissingShaderIdInRegistry"
"""usd-core comes without MaterialX's node definitions; another test asks MaterialX itself for them."""


SINGLE = 1e-6
"""What single precision may leave, as a share of the body's size."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's character, built with its clip and its normals."""
    folder = tmp_path_factory.mktemp("demo")
    for name, content in demo_files().items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    write(folder / "wren.plica", folder / "clips" / "rounds.glb", normals=True)
    return folder


def write(spec: Path, clip: Path | None = None, normals: bool = False, **options: str) -> Path:
    """The layer of a spec's character, in the folder `out` beside it."""
    given = options if clip is None else {**options, "clip": str(clip)}
    made = plica.build_files(plica.compile_file(spec), ["usd"], options={"usd": given}, normals=normals)
    assert made.ok, made.diagnostics
    plica.write_files(made, spec.parent / "out")
    return next((spec.parent / "out").glob("*.rigged.usd*"))


def baked(file: Path, seconds: np.ndarray[Any, Any]) -> dict[str, np.ndarray[Any, Any]]:
    """The points of every mesh, as UsdSkel's own baking has them."""
    stage = Usd.Stage.Open(str(file))
    root, codes = stage.GetDefaultPrim(), stage.GetTimeCodesPerSecond()
    assert UsdSkel.BakeSkinning(UsdSkel.Root(root), Gf.Interval.GetFullInterval())
    meshes = [prim for prim in root.GetChildren() if prim.GetTypeName() == "Mesh"]
    return {
        prim.GetName(): np.array(
            [prim.GetAttribute("points").Get(time * codes) for time in seconds.tolist()], dtype=np.float64
        )
        for prim in meshes
    }


def assert_baked_alike(spec: Path, file: Path, clip: Path, every: int, share: float = SINGLE) -> None:
    """The layer's skin, baked, is ours, at every so many of the clip's keys."""
    character = plica.compile_file(spec)
    skin, read = plica.attach_mesh(character), plica.read_clips(character, clip).clips[0]
    some = slice(None, None, every)
    ours = np.concatenate([block.positions for block in skin.deformer.positions(read.poses[some])])
    theirs = baked(file, read.times[some])
    size = float(np.ptp(skin.mesh.positions, axis=0).max())
    for part, points in zip(skin.mesh.parts, theirs.values(), strict=True):
        np.testing.assert_allclose(points, ours[:, part.start : part.start + part.count], rtol=0, atol=share * size)


def found(file: Path) -> list[str]:
    """What usd-core's validators say against a layer."""
    from pxr import UsdValidation

    validators = UsdValidation.ValidationRegistry().GetOrLoadAllValidators()
    errors = UsdValidation.ValidationContext(validators).Validate(Usd.Stage.Open(str(file)))
    return [f"{error.GetName()}: {error.GetMessage()}" for error in errors if error.GetName() != UNKNOWN_NODES]


def test_the_baked_skin_of_the_demo_is_ours(demo: Path) -> None:
    assert_baked_alike(demo / "wren.plica", demo / "out" / "wren.rigged.usda", demo / "clips" / "rounds.glb", 12)


def test_usd_cores_validators_find_nothing(demo: Path) -> None:
    assert found(demo / "out" / "wren.rigged.usda") == []


def test_materialx_knows_every_node(demo: Path) -> None:
    """Of the demo, and of a material with a map of directions, which the demo has none of."""
    materialx = pytest.importorskip("MaterialX", reason="MaterialX is not installed")
    library = materialx.createDocument()
    materialx.loadLibraries(materialx.getDefaultDataLibraryFolders(), materialx.getDefaultDataSearchPath(), library)
    stage = Usd.Stage.Open(str(demo / "out" / "wren.rigged.usda"))
    fold = Fold("lines", "none", "lines", "skin", "area", None, 0.1)
    placed = PlacedFold(fold, MaskPlace("m.png", "red", "st"), TextureSpace(), "d.png")
    detail = Detail("skin", "r.png", "c.png", None, None, "plain")
    plan = GraphPlan("skin", detail, "r.png", "c.png", TextureSpace(), (placed,))
    write_material(stage, "/wren/Materials/directed", detail, plan, "st")
    angle = stage.GetPrimAtPath("/wren/Materials/directed/Folds").GetAttribute("outputs:wrinkle_angle")
    assert angle.GetConnections() == [Sdf.Path("/wren/Materials/directed/Folds/across.outputs:out")]
    shaders = [UsdShade.Shader(prim) for prim in stage.Traverse() if prim.IsA(UsdShade.Shader)]
    assert len(shaders) > 20
    for shader in shaders:
        definition = library.getNodeDef(shader.GetIdAttr().Get())
        assert definition is not None, shader.GetIdAttr().Get()
        known = {one.getName(): one.getType() for one in definition.getActiveInputs()}
        for held in shader.GetInputs():
            assert held.GetBaseName() in known, (shader.GetIdAttr().Get(), held.GetBaseName())


def test_shapes_are_blend_shapes_with_inbetweens_and_turned_normals(demo: Path) -> None:
    stage = Usd.Stage.Open(str(demo / "out" / "wren.rigged.usda"))
    character = plica.compile_file(demo / "wren.plica")
    skin = plica.attach_mesh(character)
    prim = stage.GetPrimAtPath("/wren/skin/left_index_knuckle")
    shape = UsdSkel.BlendShape(prim)
    ours = skin.attached.shapes["left_index_knuckle"]
    (inbetween,) = shape.GetInbetweens()
    assert inbetween.GetWeight() == pytest.approx(ours.at[0])
    rows = np.searchsorted(np.array(shape.GetPointIndicesAttr().Get()), ours.primary.indices)
    np.testing.assert_allclose(np.array(shape.GetOffsetsAttr().Get())[rows], ours.primary.offsets, atol=1e-9)
    assert len(shape.GetNormalOffsetsAttr().Get()) == len(shape.GetPointIndicesAttr().Get())
    assert len(inbetween.GetNormalOffsets()) == len(shape.GetPointIndicesAttr().Get())


def test_folds_fade_as_the_clip_has_them(demo: Path) -> None:
    stage = Usd.Stage.Open(str(demo / "out" / "wren.rigged.usda"))
    material = UsdShade.Material(stage.GetPrimAtPath("/wren/Materials/wren_fur"))
    mesh = stage.GetPrimAtPath("/wren/skin")
    assert UsdShade.MaterialBindingAPI(mesh).ComputeBoundMaterial()[0].GetPath() == material.GetPath()
    character = plica.compile_file(demo / "wren.plica")
    read = plica.read_clips(character, demo / "clips" / "rounds.glb").clips[0]
    strengths = plica.compute_strengths(character, read.poses)
    assert character.rig is not None
    fold = next(one for one in character.rig.folds if one.follows is not None)
    held = material.GetInput(fold.name)
    codes = stage.GetTimeCodesPerSecond()
    faded = [held.GetAttr().Get(time * codes) for time in read.times.tolist()]
    np.testing.assert_allclose(faded, strengths[fold.follows], atol=1e-6)
    for path in (one.GetAttr().Get().path for one in _files(stage)):
        assert (demo / "out" / path).is_file()


def _files(stage: Any) -> list[Any]:
    shaders = [UsdShade.Shader(prim) for prim in stage.Traverse() if prim.IsA(UsdShade.Shader)]
    return [held for shader in shaders for held in shader.GetInputs() if held.GetTypeName() == Sdf.ValueTypeNames.Asset]


def test_the_rig_travels_along(demo: Path) -> None:
    layer = Sdf.Layer.FindOrOpen(str(demo / "out" / "wren.rigged.usda"))
    held = layer.customLayerData["plica"]
    rig = plica.compile_file(demo / "wren.plica").rig
    assert rig is not None and held["format"] == "plica-usd"
    assert json.loads(held["rig"])["strengths"] == json.loads(write_rig(rig))["strengths"]


HEAD = """plica 1
character c { geometry "MODEL" }
driver d { reads bend of JOINT   span 0 deg .. 60 deg }
shape s { sculpt "s.npz"   follows d }
"""


def a_character(folder: Path, model: Path, joint: str, facts: str = "") -> Path:
    """A spec of a model with one driver and one shape that moves every third vertex."""
    shutil.copytree(model.parent, folder, dirs_exist_ok=True)
    spec = folder / "c.plica"
    text = HEAD.replace("MODEL", model.name).replace("JOINT", joint) + facts
    spec.write_text(text.partition("driver")[0], "utf-8")
    mesh = plica.attach_mesh(plica.compile_file(spec)).mesh
    moved = np.arange(0, mesh.vertex_count, 3)
    size = float(np.ptp(mesh.positions, axis=0).max())
    offsets = np.random.default_rng(1).normal(size=(len(moved), 3)) * 0.01 * size
    np.savez(folder / "s.npz", indices=moved, offsets=offsets, vertex_count=np.int64(mesh.vertex_count))
    spec.write_text(text, "utf-8")
    return spec


@pytest.mark.parametrize(
    ("name", "model", "joint", "share"),
    [
        ("expressive_robot", "robot.glb", "Head", SINGLE),
        ("rigged_figure", "RiggedFigure.glb", "arm_joint_L_3", SINGLE),
        # Joints are scaled unevenly by up to 1e-5, which half precision loses; there are eight in its tail.
        ("horse", "horse.glb", "Head", 4 * SINGLE),
    ],
)
def test_the_baked_skin_of_real_characters_is_ours(
    tmp_path: Path, name: str, model: str, joint: str, share: float
) -> None:
    """The horse and the robot rest otherwise than they were bound, have joints scaled by 100, and several meshes."""
    spec = a_character(tmp_path / "model", shared_data("characters", name, model), joint)
    file = write(spec)
    assert found(file) == []
    assert_baked_alike(spec, file, spec.parent / model, 20, share)


def test_a_dual_quaternion_skin_says_so_and_is_baked_alike(tmp_path: Path) -> None:
    """Kavan and others 2007, as UsdSkel and Plica have it."""
    model = write_arms(tmp_path / "arms.gltf", rig_from(""), arms_mesh(rig_from("")))
    spec = a_character(tmp_path / "model", model, "lowerarm_lf")
    text = spec.read_text("utf-8").replace('"arms.gltf" }', '"arms.gltf"   skinning dual quaternion }')
    spec.write_text(text, "utf-8")
    character = plica.compile_file(spec)
    poses = plica.pose(character, turns={"lowerarm_lf": ("z", 1.2), "upperarm_lf": ("y", 0.4)})
    file = write(spec)
    stage = Usd.Stage.Open(str(file))
    root = stage.GetDefaultPrim()
    animation = UsdSkel.Animation(stage.GetPrimAtPath(f"{root.GetPath()}/Motions/rest"))
    names = [path.rpartition("/")[2] for path in animation.GetJointsAttr().Get()]
    turned = animation.GetRotationsAttr().Get()
    for joint, rotation in zip(poses.joints, poses.rotations[0].tolist(), strict=True):
        x, y, z, w = rotation
        turned[names.index(joint)] = Gf.Quatf(w, x, y, z)
    animation.GetRotationsAttr().Set(turned)
    strengths = plica.compute_strengths(character, poses)
    animation.GetBlendShapeWeightsAttr().Set([float(strengths["d"][0])])
    assert UsdSkel.BakeSkinning(UsdSkel.Root(root), Gf.Interval(0.0))
    mesh = next(prim for prim in root.GetChildren() if prim.GetTypeName() == "Mesh")
    assert mesh.GetAttribute("primvars:skel:skinningMethod").Get() == "dualQuaternion"
    ours = plica.deform_mesh(plica.attach_mesh(character), poses).positions[0]
    size = float(np.ptp(ours, axis=0).max())
    np.testing.assert_allclose(np.array(mesh.GetAttribute("points").Get()), ours, rtol=0, atol=SINGLE * size)


def test_a_binary_layer_holds_the_same_and_two_builds_the_same_bytes(tmp_path: Path) -> None:
    model = write_arms(tmp_path / "arms.gltf", rig_from(""), arms_mesh(rig_from("")))
    spec = a_character(tmp_path / "model", model, "lowerarm_lf")
    text = write(spec).read_bytes()
    (spec.parent / "out" / "c.rigged.usda").unlink()
    binary = write(spec, binary="yes")
    assert binary.suffix == ".usdc" and Sdf.Layer.FindOrOpen(str(binary)).ExportToString().encode() == text
    first = binary.read_bytes()
    assert write(spec, binary="yes").read_bytes() == first


def test_a_clip_that_is_not_there_is_refused(tmp_path: Path) -> None:
    model = write_arms(tmp_path / "arms.gltf", rig_from(""), arms_mesh(rig_from("")))
    spec = a_character(tmp_path / "model", model, "lowerarm_lf")
    made = plica.build_files(plica.compile_file(spec), ["usd"], options={"usd": {"plays": "walk"}})
    assert [one.name for one in made.diagnostics if one.name == "bad-target-option"] and not made.ok


def test_start_on_our_own_layer_gives_the_spec_again(demo: Path) -> None:
    """With all that it was made of beside it; the names of joints are the rig's, whatever OpenUSD takes."""
    started = plica.start_spec(demo / "out" / "wren.rigged.usda", folder=demo)
    assert started.diagnostics == ()
    started.write(demo / "again.plica")
    compared = plica.compare_characters(demo / "wren.plica", demo / "again.plica", measure=False)
    assert not [one for one in compared.diagnostics if one.severity.name == "ERROR"]
    assert [one.title for one in compared.changes if one.harm is not Harm.COSMETIC] == []


def test_start_on_a_layer_alone_moves_the_skin_alike(demo: Path, tmp_path: Path) -> None:
    shutil.copy(demo / "out" / "wren.rigged.usda", tmp_path / "gift.usda")
    started = plica.start_spec(tmp_path / "gift.usda", folder=tmp_path)
    assert started.diagnostics == () and any("inbetweens" in said for said in started.said)
    started.write(tmp_path / "gift.plica")
    again, before = plica.compile_file(tmp_path / "gift.plica"), plica.compile_file(demo / "wren.plica")
    assert again.rig is not None and before.rig is not None
    assert again.rig.strengths == before.rig.strengths
    skin, was = plica.attach_mesh(again), plica.attach_mesh(before)
    ours = plica.deform_mesh(skin, plica.pose(again, strengths={"left_elbow_bend": 1.0})).positions
    theirs = plica.deform_mesh(was, plica.pose(before, strengths={"left_elbow_bend": 1.0})).positions
    np.testing.assert_allclose(ours, theirs, atol=1e-6)
