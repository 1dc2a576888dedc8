"""Clips of files that rest in a pose: their transforms are whole, so the same motion gives the same readings."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from plica.diagnostics import Diagnostics
from plica.evaluate import Evaluator
from plica.evaluate.clip_parts import with_stance_at
from plica.evaluate.retarget import poses_from_clip
from plica.pipeline import compile_file
from plica.readers.clip import Clip
from plica.readers.gltf_clip import read_gltf_clips
from plica.readers.model_reader import read_outline
from plica.rig.rig import Rig
from tests.support.data import shared_data
from tests.support.stances import about, model

WALKING = {"arm_lf": about("z", -70), "arm_rt": about("z", 20), "hand_rt": about("y", 40)}
ANGLES = np.linspace(-100.0, 100.0, 21)


def rig_of(folder: Path, geometry: str, left: str, right: str, joint: str) -> Rig:
    """A rig with the turn of a joint, both sides, as strengths that are not clamped: 1 is 180 degrees."""
    spec = folder / "body.plica"
    spec.write_text(
        f'plica 1\ncharacter body {{ geometry "{geometry}" left "{left}" right "{right}" stance bind pose }}\n'
        f"driver turned both {{ reads rotation about z of {joint} span 0 deg .. 180 deg unclamped }}\n"
        f"driver bent both {{ reads bend of {joint} span 0 deg .. 180 deg unclamped }}\n",
        encoding="utf-8",
    )
    rig = compile_file(spec).rig
    assert rig is not None
    return rig


def clip_of(path: Path) -> Clip:
    """The hands turn about z from -100 to 100 degrees, from how the body was bound; all else stands as at rest."""
    outline = read_outline(path)
    joints = outline.skeleton.joints
    rotations = np.tile(np.array([joint.rotation for joint in joints]), (len(ANGLES), 1, 1))
    translations = np.tile(np.array([joint.translation for joint in joints]), (len(ANGLES), 1, 1))
    turns = Rotation.from_rotvec(np.radians(ANGLES)[:, np.newaxis] * (0.0, 0.0, 1.0)).as_quat()
    for row, joint in enumerate(joints):
        if joint.name.startswith("hand"):
            rotations[:, row] = turns
    bind = None if outline.bind.same else outline.bind.skeleton
    return Clip("turn", np.arange(len(ANGLES)) / 30, rotations, translations, outline.skeleton, True, bind=bind)


@pytest.mark.parametrize("character_rests", [{}, WALKING])
@pytest.mark.parametrize("clip_rests", [{}, WALKING, {"hand_lf": about("z", 33)}])
def test_the_same_motion_gives_the_same_readings_however_the_files_rest(
    character_rests: dict[str, Rotation], clip_rests: dict[str, Rotation], tmp_path: Path
) -> None:
    rig = rig_of(tmp_path, model(tmp_path / "body.gltf", rest=character_rests).name, "*_lf", "*_rt", "hand")
    clip = clip_of(model(tmp_path / "clip.gltf", rest=clip_rests))
    strengths = Evaluator(rig).strengths(poses_from_clip(rig, clip, Diagnostics()))
    place = {strength.name: column for column, strength in enumerate(rig.strengths)}
    np.testing.assert_allclose(strengths[:, place["left_turned"]], ANGLES / 180.0, atol=1e-6)
    # Across x a turn about z is mirrored by its sign.
    np.testing.assert_allclose(strengths[:, place["right_turned"]], -ANGLES / 180.0, atol=1e-6)


def test_a_knee_in_real_motion_reads_the_turn_from_the_bind_pose(tmp_path: Path) -> None:
    """By scipy: the angle between the clip's local rotation and that of inverse bind matrices (glTF 2.0, 3.7.3.1)."""
    path = shared_data("characters", "expressive_robot", "robot.glb")
    (tmp_path / path.name).write_bytes(path.read_bytes())
    rig = rig_of(tmp_path, path.name, "*.L", "*.R", "LowerLeg")
    column = next(index for index, one in enumerate(rig.strengths) if one.name == "left_bent")
    evaluator = Evaluator(rig)
    bound = Rotation.from_matrix(_bound_turn(path))
    largest = 0.0
    for clip in read_gltf_clips(path):
        knee = clip.rest.index["LowerLeg.L"]
        expected = (bound.inv() * Rotation.from_quat(clip.rotations[:, knee])).magnitude() / np.pi
        values = evaluator.strengths(poses_from_clip(rig, clip, Diagnostics()))[:, column]
        np.testing.assert_allclose(values, expected, atol=1e-6)
        largest = max(largest, float(values.max()))
    assert largest * 180 > 90


def _without_skin(clip: Clip) -> Clip:
    """What a file that only holds the animation says."""
    return replace(clip, bind=None, is_rest_bound=False)


def test_a_clip_without_a_skin_is_assumed_to_rest_in_its_stance_and_that_is_told(tmp_path: Path) -> None:
    rig = rig_of(tmp_path, model(tmp_path / "body.gltf").name, "*_lf", "*_rt", "hand")
    clip = _without_skin(clip_of(model(tmp_path / "clip.gltf", rest={"hand_lf": about("z", 33)})))
    told = Diagnostics()
    poses_from_clip(rig, clip, told)
    assert [one.name for one in told.all] == ["clip-stance-assumed"]
    assert "--stance-at" in str(told.all[0].hint)
    # In the middle frame the hands stand as they were bound: stated, that is the stance, and nothing is assumed.
    stated, nothing = with_stance_at(clip, float(clip.times[len(ANGLES) // 2])), Diagnostics()
    strengths = Evaluator(rig).strengths(poses_from_clip(rig, stated, nothing))
    assert nothing.all == ()
    column = next(index for index, one in enumerate(rig.strengths) if one.name == "left_turned")
    np.testing.assert_allclose(strengths[:, column], ANGLES / 180.0, atol=1e-6)


def test_a_stance_that_is_stated_comes_before_the_bind_pose_of_the_clip(tmp_path: Path) -> None:
    rig = rig_of(tmp_path, model(tmp_path / "body.gltf").name, "*_lf", "*_rt", "hand")
    clip = clip_of(model(tmp_path / "clip.gltf", rest=WALKING))
    assert clip.bind is not None
    strengths = Evaluator(rig).strengths(
        poses_from_clip(rig, with_stance_at(clip, float(clip.times[0])), Diagnostics())
    )
    column = next(index for index, one in enumerate(rig.strengths) if one.name == "left_turned")
    np.testing.assert_allclose(strengths[0, column], 0.0, atol=1e-6)


def test_a_clip_that_rests_as_its_skin_was_bound_or_as_the_character_needs_no_note(tmp_path: Path) -> None:
    rig = rig_of(tmp_path, model(tmp_path / "body.gltf").name, "*_lf", "*_rt", "hand")
    resting = clip_of(model(tmp_path / "clip.gltf"))
    other = replace(resting, rest=clip_of(model(tmp_path / "turned.gltf", rest=WALKING)).rest, is_rest_bound=True)
    for clip in (resting, _without_skin(resting), other):
        told = Diagnostics()
        poses_from_clip(rig, clip, told)
        assert told.all == ()


def _bound_turn(path: Path) -> np.ndarray:
    """The turn of the left lower leg in the upper leg when the skin was bound, from the matrices in the file."""
    from plica.readers.gltf_arrays import GltfArrays

    arrays = GltfArrays(path)
    skin = arrays.document["skins"][0]
    names = [arrays.document["nodes"][node]["name"] for node in skin["joints"]]
    inverse = dict(zip(names, arrays.accessor(skin["inverseBindMatrices"]), strict=True))
    local = inverse["UpperLeg.L"] @ np.linalg.inv(inverse["LowerLeg.L"])
    return np.asarray(local[:3, :3])
