"""The target `gltf` on characters of other people: what the validator and readers of others say of the outcome."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pygltflib
import pytest
import trimesh

import plica
from plica.mesh.joint_matrices import Kinematics
from plica.mesh.mesh_reader import mesh_of_rig
from tests.support import node
from tests.support.data import shared_data

MODELS = (
    ("plain", "full_body", "full_body.gltf"),
    ("baked", "animated_morph_cube", "AnimatedMorphCube.gltf"),
    ("baked", "simple_morph", "SimpleMorph.gltf"),
    ("plain", "expressive_robot", "robot.glb"),
    ("baked", "rigged_figure", "RiggedFigure.glb"),
    ("plain", "horse", "horse.glb"),
)
STAGES = (("characters", "rigged_figure", "RiggedFigure.usdz"), ("usdskel", "blendshapes.usda"))
SERIOUS = 1  # errors and warnings of the validator; above are infos and hints


def built(model: Path, folder: Path, form: str) -> tuple[plica.Character, Path]:
    """A character with one shape that moves every third vertex, written into `folder`."""
    shutil.copytree(model.parent, folder / "model")
    character = f'plica 1\ncharacter c {{ geometry "model/{model.name}" }}\n'
    rig = plica.compile_text(character, folder=folder).rig
    mesh = mesh_of_rig(rig, folder / "model" / model.name)
    moved = np.arange(0, mesh.vertex_count, 3)
    size = float(np.ptp(mesh.positions, axis=0).max())
    offsets = np.random.default_rng(1).normal(size=(len(moved), 3)) * 0.01 * size
    np.savez(folder / "swell.npz", indices=moved, offsets=offsets, vertex_count=np.int64(mesh.vertex_count))
    facts = (
        'control k { }\ndriver d { reads control k   span 0 .. 1 }\nshape swell { sculpt "swell.npz"   follows d }\n'
    )
    (folder / "c.plica").write_text(character + facts, "utf-8")
    compiled = plica.compile_file(folder / "c.plica")
    made = plica.build_files(compiled, ["gltf"], options={"gltf": {"form": form}})
    assert made.ok, made.diagnostics
    plica.write_files(made, folder / "out")
    return compiled, next((folder / "out").glob("c.rigged.gl*"))


def serious(found: Any, file: Path) -> set[tuple[int, str]]:
    """The errors and warnings about a file, by code."""
    return {(severity, code) for severity, code, _, _ in found[str(file)] if severity <= SERIOUS}


def test_the_khronos_validator_finds_no_error_or_warning_that_was_not_there(tmp_path: Path) -> None:
    """gltf-validator 2.0.0-dev.3.10 of the Khronos Group; what came from OpenUSD has none at all."""
    pairs, made = [], []
    for form, *parts in MODELS:
        model, folder = shared_data("characters", *parts), tmp_path / parts[-1]
        folder.mkdir()
        pairs.append((model, built(model, folder, form)[1]))
    for parts in STAGES:
        folder = tmp_path / parts[-1]
        folder.mkdir()
        made.append(built(shared_data(*parts), folder, "baked")[1])
    # Some of the models name images that do not come with the data, so the copies beside the specs are no different.
    found = node.answer("gltf_errors.mjs", *(file for pair in pairs for file in pair), *made)
    assert {after.parents[1].name: serious(found, after) - serious(found, before) for before, after in pairs} == {
        after.parents[1].name: set() for _, after in pairs
    }
    assert [serious(found, file) for file in made] == [set(), set()]
    for file in [after for _, after in pairs] + made:
        assert pygltflib.GLTF2().load(str(file)).meshes
    for _, after in pairs[3:]:
        assert trimesh.load(after, process=False).geometry


def test_a_character_of_openusd_stands_and_moves_as_it_does_there(tmp_path: Path) -> None:
    """three 0.187.0 shows skin and shape where Plica, whose reading of UsdSkel is checked elsewhere, has them."""
    character, file = built(shared_data("characters", "rigged_figure", "RiggedFigure.usdz"), tmp_path, "plain")
    mesh = plica.attach_mesh(character)
    joints = character.rig.skeleton
    rotations = np.array([joint.neutral.rotation for joint in joints])[None].repeat(3, axis=0)
    turn = np.random.default_rng(2).normal(size=(2, len(joints), 4)) * 0.1
    rotations[1:] += turn
    rotations /= np.linalg.norm(rotations, axis=-1, keepdims=True)
    poses = plica.poses_from_arrays(character, rotations=rotations, controls={"k": [0.0, 0.4, 1.0]})
    worlds = np.tile(np.eye(4), (len(joints), 3, 1, 1))
    worlds[:, :, :3] = Kinematics(character.rig).globals(poses).transpose(1, 0, 2, 3)
    document = json.loads(file.read_bytes()[20:].split(b"\0")[0].rsplit(b"}", 1)[0] + b"}")
    (shown,) = [number for number, holder in enumerate(document["nodes"]) if "mesh" in holder]
    job = {
        "file": str(file),
        "parts": [[shown, 0]],
        "out": str(tmp_path / "positions"),
        "poses": [
            {
                "worlds": {number: world[frame].T.ravel().tolist() for number, world in enumerate(worlds)},
                "weights": {shown: [amount]},
            }
            for frame, amount in enumerate((0.0, 0.4, 1.0))
        ],
    }
    (tmp_path / "jobs.json").write_text(json.dumps([job]), "utf-8")
    node.answer("gltf_positions.mjs", tmp_path / "jobs.json")
    places = np.fromfile(job["out"]).reshape(3, -1, 3)
    expected = plica.deform_mesh(mesh, poses).positions
    np.testing.assert_allclose(places, expected, atol=2e-6 * float(np.ptp(expected, axis=1).max()))


def test_a_dual_quaternion_skin_is_refused(tmp_path: Path) -> None:
    with pytest.raises(AssertionError, match="PL604"):
        built(shared_data("usdskel", "dqs.usda"), tmp_path, "plain")
