"""What one length of the model's file is: a file in centimetres gives what the same one in metres gives."""

from __future__ import annotations

import base64
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from plica.commands.main import run
from plica.diagnostics import Diagnostics, Severity
from plica.evaluate.retarget import poses_from_clip
from plica.mesh.mesh_reader import mesh_of_rig
from plica.mesh.sculpt_reader import Sculpted, in_unit_of, read_sculpt
from plica.pipeline import Compiled, compile_file
from plica.readers.clip import Clip
from plica.readers.model_reader import read_outline
from plica.rig.integrity import first_problem
from plica.rig.rig_json import write_rig
from plica.skeleton.skeleton import Joint, Skeleton, resized
from plica.start import start_spec
from tests.support.arms import arms_mesh, rig_from
from tests.support.stances import about, model
from tests.support.usd_arms import usd_arms

WALKING = {"arm_lf": about("z", -70), "arm_rt": about("z", 20), "hand_rt": about("y", 40)}
DECLARATIONS = """
driver slide both { reads offset y of hand   span 0 mm .. 20 mm }
driver elbow both { reads rotation about z of hand   span 0 deg .. 90 deg }
"""


def body(path: Path, factor: float, **turns: Any) -> Path:
    """The even body with every length of its file so many times as large; its bind matrices go along."""
    model(path, **turns)
    document = json.loads(path.read_text("utf-8"))
    data = bytearray(_buffer(document))
    for node in document["nodes"]:
        if "translation" in node:
            node["translation"] = [value * factor for value in node["translation"]]
    for skin in document["skins"]:
        _multiply(document, data, skin["inverseBindMatrices"], (slice(None), slice(12, 15)), factor)
    for mesh in document["meshes"]:
        _multiply(document, data, mesh["primitives"][0]["attributes"]["POSITION"], (slice(None), slice(None)), factor)
    document["buffers"][0]["uri"] = _uri(bytes(data))
    path.write_text(json.dumps(document), "utf-8")
    return path


def _buffer(document: dict[str, Any]) -> bytes:
    return base64.b64decode(document["buffers"][0]["uri"].split(",", 1)[1])


def _uri(data: bytes) -> str:
    return "data:application/octet-stream;base64," + base64.b64encode(data).decode()


def _multiply(document: dict[str, Any], data: bytearray, accessor: int, where: Any, factor: float) -> None:
    one = document["accessors"][accessor]
    view = document["bufferViews"][one["bufferView"]]
    width = {"VEC3": 3, "MAT4": 16}[one["type"]]
    start, stop = view["byteOffset"], view["byteOffset"] + view["byteLength"]
    values = np.frombuffer(bytes(data[start:stop]), "<f4").reshape(-1, width).copy()
    values[where] *= np.float32(factor)
    data[start:stop] = values.tobytes()


def compiled(folder: Path, facts: str = "", geometry: str = "body.gltf", more: str = DECLARATIONS) -> Compiled:
    spec = folder / "body.plica"
    spec.write_text(
        f'plica 1\ncharacter body {{ geometry "{geometry}" left "*_lf" right "*_rt" {facts} }}\n{more}', "utf-8"
    )
    return compile_file(spec)


def names(result: Compiled) -> set[str]:
    return {one.name for one in result.diagnostics}


# ---- the model ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fact", "factor"), [("unit 1 cm", 100.0), ("unit 1 mm", 1000.0), ("unit 2.54 cm", 1 / 0.0254)]
)
@pytest.mark.parametrize("rest", [None, WALKING])
def test_a_file_in_another_unit_is_the_same_as_in_metres(fact: str, factor: float, rest: Any, tmp_path: Path) -> None:
    folders = [tmp_path / "own", tmp_path / "metres"]
    results = []
    for folder, times, facts in zip(folders, (factor, 1.0), (fact, ""), strict=True):
        folder.mkdir()
        body(folder / "body.gltf", times, rest=rest)
        results.append(compiled(folder, facts))
    assert names(results[0]) == names(results[1]) == set()
    rigs = [result.rig for result in results]
    assert rigs[0] is not None and rigs[1] is not None
    for joint, expected in zip(rigs[0].skeleton, rigs[1].skeleton, strict=True):
        for place, other in ((joint.neutral, expected.neutral), (joint.rest, expected.rest)):
            np.testing.assert_allclose(place.translation, other.translation, atol=1e-6)
            np.testing.assert_allclose(place.rotation, other.rotation, atol=1e-6)
    assert rigs[0].character.geometry is not None
    assert rigs[0].character.geometry.unit == pytest.approx(1.0 / factor)
    meshes = [mesh_of_rig(rig, folder / "body.gltf") for rig, folder in zip(rigs, folders, strict=True) if rig]
    np.testing.assert_allclose(meshes[0].positions, meshes[1].positions, atol=1e-6)
    np.testing.assert_allclose(meshes[0].inverse_binds, meshes[1].inverse_binds, atol=1e-6)


def test_the_outputs_say_the_unit(tmp_path: Path) -> None:
    body(tmp_path / "body.gltf", 100.0)
    rig = compiled(tmp_path, "unit 1 cm").rig
    assert rig is not None
    character = json.loads(write_rig(rig))["character"]
    assert character["geometry"]["unit"] == 0.01
    hips = next(joint for joint in json.loads(write_rig(rig))["skeleton"] if joint["name"] == "hips")
    assert hips["neutral"]["translation"] == [0.0, 1.0, 0.0]


@pytest.mark.parametrize("unit", [0.0, -0.01])
def test_a_rig_with_a_unit_that_is_no_length_is_refused(unit: float, tmp_path: Path) -> None:
    body(tmp_path / "body.gltf", 1.0)
    rig = compiled(tmp_path).rig
    assert rig is not None and rig.character.geometry is not None
    assert first_problem(rig) is None
    wrong = rig._replace(character=rig.character._replace(geometry=rig.character.geometry._replace(unit=unit)))
    problem = first_problem(wrong)
    assert problem is not None and problem.path == "character.geometry.unit"


def test_a_check_and_a_comparison_tell_the_unit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    body(tmp_path / "body.gltf", 100.0)
    compiled(tmp_path, "unit 1 cm")
    spec = tmp_path / "body.plica"
    assert run(["check", str(spec)]) == 0
    assert "one length of body.gltf is 0.01 m" in capsys.readouterr().out
    other = tmp_path / "other.plica"
    other.write_text(spec.read_text("utf-8").replace("unit 1 cm", "unit 1 mm"), "utf-8")
    assert run(["diff", str(spec), str(other)]) == 1
    assert "geometry.unit 0.01 m → 0.001 m" in capsys.readouterr().out


# ---- what is wrong, and what is asked ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("factor", "fact", "warned"),
    [
        (1.0, "", False),  # the joints reach over 1.2 m
        (100.0, "", True),
        (10.0, "", True),
        (10.0, "unit 1 m", False),
        (10.0, "unit 10 cm", False),
        (100.0, "unit 1 cm", False),
        (100.0, "unit 1 m", True),
        (1.0, "unit 1 cm", False),
        (0.01, "", True),
        (0.01, "unit 100 m", False),
        (0.002, "unit 1 m", True),
    ],
)
def test_a_size_that_few_bodies_have_asks_for_the_unit(factor: float, fact: str, warned: bool, tmp_path: Path) -> None:
    body(tmp_path / "body.gltf", factor)
    result = compiled(tmp_path, fact)
    assert names(result) == ({"unlikely-size"} if warned else set())
    if warned and not fact:
        hint = result.diagnostics[0].hint or ""
        assert {100.0: "`unit 1 cm`", 10.0: "`unit 10 cm`", 0.01: "`unit 100 m`"}[factor] in hint, hint


@pytest.mark.parametrize(("fact", "told"), [("unit 0 cm", "not-positive"), ("unit -1 cm", "not-positive")])
def test_a_unit_is_a_length_above_nothing(fact: str, told: str, tmp_path: Path) -> None:
    body(tmp_path / "body.gltf", 1.0)
    assert told in names(compiled(tmp_path, fact))


@pytest.mark.parametrize("fact", ["unit 1 deg", "unit 1"])
def test_a_unit_is_a_length(fact: str, tmp_path: Path) -> None:
    body(tmp_path / "body.gltf", 1.0)
    assert names(compiled(tmp_path, fact)) & {"wrong-dimension", "missing-unit"}


def stage(folder: Path, unit: str) -> Path:
    """The two arms as a stage that states this much as its unit."""
    pytest.importorskip("pxr", reason="usd-core is not installed")
    rig = rig_from("")
    path = usd_arms(folder, rig, arms_mesh(rig))
    path.write_text(path.read_text("utf-8").replace("metersPerUnit = 1\n", unit), "utf-8")
    return path


@pytest.mark.parametrize(
    ("written", "fact", "told", "reach"),
    [
        ("metersPerUnit = 1\n", "", set(), 1.8),
        ("metersPerUnit = 1\n", "unit 1 m", set(), 1.8),
        ("metersPerUnit = 1\n", "unit 1 cm", {"unit-contradicts-model"}, 0.018),
        ("metersPerUnit = 0.01\n", "unit 1 cm", set(), 0.018),
        ("", "", {"unlikely-size"}, 0.018),  # the standard's fallback is centimetres
        ("", "unit 1 m", set(), 1.8),
    ],
)
def test_what_a_stage_says_of_its_unit(written: str, fact: str, told: set[str], reach: float, tmp_path: Path) -> None:
    stage(tmp_path, written)
    result = compiled(tmp_path, fact, "arms.usda", "")
    assert {one.name for one in result.diagnostics if one.severity is not Severity.NOTE} == told
    if "unit-contradicts-model" in told:
        return
    assert result.rig is not None
    mesh = mesh_of_rig(result.rig, tmp_path / "arms.usda")
    assert float(np.ptp(mesh.positions, axis=0).max()) == pytest.approx(reach)
    joints = [joint.neutral.translation for joint in result.rig.skeleton if joint.name == "lowerarm_lf"]
    scales = [joint.neutral.scale[0] for joint in result.rig.skeleton if joint.parent is None]
    assert joints[0][0] * scales[0] == pytest.approx(0.4 * reach / 1.8)


def test_a_stage_without_a_usable_unit_is_refused(tmp_path: Path) -> None:
    stage(tmp_path, "metersPerUnit = 0\n")
    assert "unreadable-model" in names(compiled(tmp_path, "", "arms.usda", ""))


# ---- a first spec ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("factor", "written"), [(1.0, None), (100.0, "1 cm"), (1000.0, "1 mm"), (10.0, None)])
def test_a_first_spec_states_a_plain_unit(factor: float, written: str | None, tmp_path: Path) -> None:
    body(tmp_path / "body.gltf", factor)
    found = Diagnostics()
    text = start_spec(tmp_path / "body.gltf", found).text
    lines = [line.split("//")[0].split() for line in text.splitlines()]
    assert [" ".join(line[1:]) for line in lines if line[:1] == ["unit"]] == ([written] if written else [])
    assert ("unlikely-size" in {one.name for one in found.all}) == (factor == 10.0)
    spec = tmp_path / "body.plica"
    spec.write_text(text, "utf-8")
    assert ("unlikely-size" in names(compile_file(spec))) == (factor == 10.0)


# ---- clips and sculpts -------------------------------------------------------------------------------


def clip_of(path: Path, factor: float) -> Clip:
    """The hands slide by up to 3 cm along y, the hips by 5 cm along x, in a file so many times as large."""
    outline = read_outline(path)
    joints, frames = outline.skeleton.joints, 11

    def at(times: np.ndarray) -> Clip:
        rotations = np.tile(np.array([joint.rotation for joint in joints]), (len(times), 1, 1))
        translations = np.tile(np.array([joint.translation for joint in joints]), (len(times), 1, 1))
        for row, joint in enumerate(joints):
            if joint.name.startswith("hand"):
                translations[:, row, 1] += 0.03 * factor * times
            elif joint.name == "hips":
                translations[:, row, 0] += 0.05 * factor * times
        return Clip("slide", times, rotations, translations, outline.skeleton, True)

    whole = at(np.linspace(0.0, 1.0, frames))
    return replace(whole, between=at)


@pytest.mark.parametrize("clip_factor", [1.0, 100.0])
@pytest.mark.parametrize("named", [True, False])
def test_clips_are_in_the_models_unit_or_in_metres(clip_factor: float, named: bool, tmp_path: Path) -> None:
    body(tmp_path / "body.gltf", 100.0)
    rig = compiled(tmp_path, "unit 1 cm").rig
    assert rig is not None
    clip = clip_of(body(tmp_path / "clip.gltf", clip_factor), clip_factor)
    if not named:  # only the roots are called alike: the size of the body tells
        joints = [
            joint if joint.parent is None else joint._replace(name=f"b_{joint.name}") for joint in clip.rest.joints
        ]
        clip = replace(clip, rest=Skeleton(tuple(joints)))
        rig = rig._replace(aliases=())
    poses = poses_from_clip(rig, clip, Diagnostics())
    hips = poses.joints.index("hips")
    expected = np.array((0.0, 1.0, 0.0)) + np.outer(clip.times, (0.05, 0.0, 0.0))
    np.testing.assert_allclose(poses.translations[:, hips], expected, atol=1e-9)
    if named:
        hand = poses.joints.index("hand_lf")
        np.testing.assert_allclose(poses.translations[:, hand, 1], 0.03 * clip.times, atol=1e-9)
        assert clip.between is not None
        later = poses_from_clip(rig, clip.between(np.array([0.55])), Diagnostics())
        np.testing.assert_allclose(later.translations[0, hand, 1], 0.03 * 0.55, atol=1e-9)


def test_a_skeleton_made_larger_has_its_frames_further_apart() -> None:
    joints = (Joint("a", None, (1.0, 2.0, 3.0), scale=(2.0, 2.0, 2.0)), Joint("b", 0, (0.5, 0.0, 0.0)))
    larger = resized(Skeleton(joints), 10.0)
    for one, other in zip(larger.frames, Skeleton(joints).frames, strict=True):
        np.testing.assert_allclose(one.origin, 10.0 * np.array(other.origin))
        assert one.linear == other.linear


@pytest.mark.parametrize("factor", [1.0, 100.0])
@pytest.mark.parametrize("ending", ["gltf", "obj"])
def test_whole_sculpts_are_in_the_models_unit_or_in_metres(ending: str, factor: float, tmp_path: Path) -> None:
    body(tmp_path / "body.gltf", 100.0)
    rig = compiled(tmp_path, "unit 1 cm").rig
    assert rig is not None
    mesh = mesh_of_rig(rig, tmp_path / "body.gltf")
    moved = mesh.positions + np.array([0.01, 0.0, 0.0])
    path = tmp_path / f"sculpt.{ending}"
    if ending == "obj":
        lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in (moved * factor).tolist()]
        path.write_text("\n".join([*lines, "f 1 2 3"]) + "\n", "utf-8")
        expected = moved
    else:
        body(path, factor)
        expected = mesh.positions
    sculpt = in_unit_of(read_sculpt(path), mesh, 0.01)
    assert sculpt.positions is not None
    np.testing.assert_allclose(sculpt.positions, expected, atol=1e-6)


def test_offsets_are_metres_and_other_meshes_are_left_alone(tmp_path: Path) -> None:
    body(tmp_path / "body.gltf", 100.0)
    rig = compiled(tmp_path, "unit 1 cm").rig
    assert rig is not None
    mesh = mesh_of_rig(rig, tmp_path / "body.gltf")
    other = Sculpted(7, np.zeros((7, 3)))
    assert in_unit_of(other, mesh, 0.01) is other
    flat = Sculpted(mesh.vertex_count, np.zeros((mesh.vertex_count, 3)))
    assert in_unit_of(flat, mesh, 0.01) is flat
