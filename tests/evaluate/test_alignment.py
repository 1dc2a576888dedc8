"""Clips of other bodies: bones point where the clip's point, whatever the two stances; scipy has the rotations."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from plica.diagnostics import Diagnostics
from plica.evaluate.clip_parts import ClipPart, with_stance_at
from plica.evaluate.poses import Poses
from plica.evaluate.retarget import poses_from_clip
from plica.readers.clip import Clip
from plica.readers.clip_reader import read_clips
from plica.readers.model_reader import read_outline
from plica.skeleton.body import body_of
from plica.skeleton.limbs import LIMB_NAMES, Limb
from plica.skeleton.skeleton import Joint, Skeleton
from tests.evaluate.test_retarget import rig_of_skeleton
from tests.support.data import shared_data

Array = NDArray[np.float64]

CHARACTERS = (
    "full_body/full_body.gltf",
    "mannequin/mannequin.gltf",
    "unnamed_man/man.glb",
    "rigged_figure/RiggedFigure.glb",
    "rigged_figure/RiggedFigure_unnamed_unnormalised.glb",
    "base_mesh_facing_x/base_mesh.glb",
    "expressive_robot/robot.glb",
)
CLIPS = (
    "motion/cmu_01_01.bvh",
    "motion/cmu_12_01_walk.bvh",
    "characters/mannequin/Med_MovementBasic.glb",
    "characters/unnamed_man/man.glb",
    "characters/rigged_figure/RiggedFigure.glb",
    "characters/expressive_robot/robot.glb",
)


@cache
def longest_clip(file: Path) -> Clip:
    """The longest clip of a file; every character is turned by each."""
    return max(read_clips(file), key=lambda clip: len(clip.times))


def places(skeleton: Skeleton, names: tuple[str, ...], rotations: Array, translations: Array) -> list[Array]:
    """Where the joints are, (frames, 3) for each: the matrices T R S of glTF 2.0 section 3.5.3 one after the other."""
    columns = {name: column for column, name in enumerate(names)}
    frames = len(rotations)
    linear: list[Array] = []
    result: list[Array] = []
    for joint in skeleton.joints:
        column = columns.get(joint.name)
        turn = np.tile(joint.rotation, (frames, 1)) if column is None else rotations[:, column]
        step = np.tile(joint.translation, (frames, 1)) if column is None else translations[:, column]
        own = Rotation.from_quat(turn).as_matrix() * np.array(joint.scale)
        if joint.parent is None:
            linear.append(own)
            result.append(step)
        else:
            linear.append(linear[joint.parent] @ own)
            result.append(result[joint.parent] + np.einsum("fij,fj->fi", linear[joint.parent], step))
    return result


def bones(at: list[Array], limb: Limb) -> tuple[Array, Array]:
    first, second = at[limb.lower] - at[limb.upper], at[limb.end] - at[limb.lower]
    return first / np.linalg.norm(first, axis=1)[:, None], second / np.linalg.norm(second, axis=1)[:, None]


def degrees_between(a: Array, b: Array) -> Array:
    return np.asarray(np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), np.sum(a * b, axis=1))))


def check_directions(skeleton: Skeleton, poses: Poses, clip: Clip) -> int:
    """Holds every limb of both against the other; how many there are."""
    own, theirs = body_of(skeleton), body_of(clip.rest)
    mine = places(skeleton, poses.joints, poses.rotations, poses.translations)
    yours = places(clip.rest, clip.joints, clip.rotations, clip.translations)
    limbs = [name for name in LIMB_NAMES if name in own.limbs and name in theirs.limbs]
    for name in limbs:
        ours, other = bones(mine, own.limbs[name]), bones(yours, theirs.limbs[name])
        for one, wanted in zip(ours, other, strict=True):
            assert degrees_between(one, wanted).max() < 1.0
        assert np.abs(degrees_between(*ours) - degrees_between(*other)).max() < 0.5
    return len(limbs)


@pytest.mark.parametrize("character", CHARACTERS)
@pytest.mark.parametrize("file", CLIPS)
def test_limbs_point_where_those_of_the_clip_point(character: str, file: str) -> None:
    skeleton = read_outline(shared_data("characters", *character.split("/"))).skeleton
    clip = longest_clip(shared_data(*file.split("/")))
    result = Diagnostics()
    poses = poses_from_clip(rig_of_skeleton(skeleton), clip, result)
    assert not result.has_errors
    assert check_directions(skeleton, poses, clip) == 4


@pytest.mark.parametrize("seconds", [0.5, 2.0])
def test_a_stated_moment_is_the_stance(seconds: float) -> None:
    skeleton = read_outline(shared_data("characters", "full_body", "full_body.gltf")).skeleton
    clip = with_stance_at(longest_clip(shared_data("motion", "cmu_12_01_walk.bvh")), seconds)
    poses = poses_from_clip(rig_of_skeleton(skeleton), clip, Diagnostics())
    assert check_directions(skeleton, poses, clip) == 4
    cut = ClipPart(0.25, 0.75, seconds).of(clip)
    assert cut.times[0] >= 0.25
    assert cut.times[-1] <= 0.75


@pytest.mark.parametrize(
    "file", ["unnamed_man/man.glb", "rigged_figure/RiggedFigure.glb", "expressive_robot/robot.glb", "horse/horse.glb"]
)
def test_a_clip_of_the_character_itself_stays_to_the_last_bit(file: str) -> None:
    clip = longest_clip(shared_data("characters", *file.split("/")))
    result = Diagnostics()
    poses = poses_from_clip(rig_of_skeleton(clip.rest), clip, result)
    np.testing.assert_array_equal(poses.rotations, clip.rotations)
    assert not [one for one in result.all if one.code in ("PL706", "PL707")]


def test_what_was_matched_is_said_and_a_body_of_another_build_is_refused() -> None:
    clip = longest_clip(shared_data("motion", "cmu_12_01_walk.bvh"))
    result = Diagnostics()
    poses_from_clip(
        rig_of_skeleton(read_outline(shared_data("characters", "full_body", "full_body.gltf")).skeleton), clip, result
    )
    said = [one.message for one in result.all if one.code == "PL706"]
    assert "`LeftUpLeg` = `thigh_l`" in said[0]
    assert "`RightForeArm` = `lowerarm_r`" in said[0]
    horse, refused = read_outline(shared_data("characters", "horse", "horse.glb")).skeleton, Diagnostics()
    poses_from_clip(rig_of_skeleton(horse), clip, refused)
    assert [one.code for one in refused.all if one.code == "PL707"] == ["PL707"]


def horse_in_another_stance(horse: Skeleton, spread: float, facing: float) -> Skeleton:
    """The horse with other names for its legs, which stand apart by an angle (radians), turned as a whole."""
    joints = []
    for joint in horse.joints:
        name, turn = joint.name, Rotation.from_quat(joint.rotation)
        if "UpperLeg" in name or "LowerLeg" in name:
            where, level = "fore" if name.startswith("Front") else "hind", "upper" if "Upper" in name else "lower"
            side = "left" if ".L" in name else "right"
            name = f"{where}_{level}_leg_{side}" + ("_end" if name.endswith("_end") else "")
            if level == "upper":
                around = np.array(horse.orientation(horse.index[joint.name])).T @ (0.0, 0.0, 1.0)
                turn = turn * Rotation.from_rotvec(around * (spread if side == "left" else -spread))
        if joint.parent is None:
            turn = Rotation.from_rotvec([0.0, facing, 0.0]) * turn
        joints.append(joint._replace(name=name, rotation=tuple(turn.as_quat())))
    return Skeleton(tuple(joints))


@pytest.mark.parametrize(("spread", "facing"), [(0.0, 0.0), (0.35, 0.0), (-0.2, np.pi / 2)])
def test_a_horses_clip_moves_a_horse_that_stands_otherwise(spread: float, facing: float) -> None:
    clip = longest_clip(shared_data("characters", "horse", "horse.glb"))
    own = horse_in_another_stance(clip.rest, spread, facing)
    result = Diagnostics()
    poses = poses_from_clip(rig_of_skeleton(own), clip, result)
    assert not result.has_errors
    assert check_directions(own, poses, clip) == 4


def test_a_persons_body_takes_no_horses_clip() -> None:
    clip = longest_clip(shared_data("characters", "horse", "horse.glb"))
    person = read_outline(shared_data("characters", "full_body", "full_body.gltf")).skeleton
    result = Diagnostics()
    poses_from_clip(rig_of_skeleton(person), clip, result)
    assert result.has_errors


def standing(spread: float, knee: float) -> Skeleton:
    """A body in plain names whose legs stand apart and whose knees and elbows are bent, in radians."""
    joints = [Joint("hips", None, (0.0, 1.0, 0.0)), Joint("chest", 0, (0.0, 0.5, 0.0))]
    for side, sign in (("left", 1.0), ("right", -1.0)):
        turn = Rotation.from_euler("z", sign * spread)
        bend = Rotation.from_euler("x", knee)
        start = len(joints)
        joints += [
            Joint(f"{side}_thigh", 0, (sign * 0.1, 0.0, 0.0), tuple(turn.as_quat())),
            Joint(f"{side}_shin", start, (0.0, -0.45, 0.0), tuple(bend.as_quat())),
            Joint(f"{side}_foot", start + 1, (0.0, -0.45, 0.0)),
            Joint(f"{side}_upperarm", 1, (sign * 0.2, 0.0, 0.0), tuple((turn * turn).as_quat())),
            Joint(f"{side}_forearm", start + 3, (sign * 0.3, 0.0, 0.0)),
            Joint(f"{side}_hand", start + 4, (sign * 0.25, 0.0, 0.0)),
        ]
    return Skeleton(tuple(joints))


def test_the_same_body_in_another_stance_moves_alike() -> None:
    """Motion of the body with its legs apart, on the one that stands straight: the knees bend about the same hinges."""
    own, theirs = standing(0.0, 0.1), standing(0.35, 0.2)
    frames = 40
    rotations = np.tile([joint.rotation for joint in theirs.joints], (frames, 1, 1))
    bends = np.linspace(0.1, 1.6, frames)
    shins = [theirs.index[f"{side}_shin"] for side in ("left", "right")]
    for shin in shins:
        rotations[:, shin] = Rotation.from_rotvec(np.outer(bends, [1.0, 0.0, 0.0])).as_quat()
    translations = np.tile([joint.translation for joint in theirs.joints], (frames, 1, 1))
    clip = Clip("walk", np.arange(frames) / 30, rotations, translations, theirs, in_metres=True)
    poses = poses_from_clip(rig_of_skeleton(own), clip, Diagnostics())
    assert check_directions(own, poses, clip) == 4
    for side in ("left", "right"):
        column = poses.joints.index(f"{side}_shin")
        turns = Rotation.from_quat(poses.rotations[:, column]).as_rotvec()
        np.testing.assert_allclose(turns, np.outer(bends, [1.0, 0.0, 0.0]), atol=1e-9)


def test_a_clip_of_the_characters_own_file_stays_when_the_neutral_stance_is_another() -> None:
    rest, neutral = standing(0.35, 0.2), standing(0.0, 0.1)
    rig = rig_of_skeleton(rest)
    joints = zip(rig.skeleton, neutral.joints, strict=True)
    rig = rig._replace(skeleton=tuple(joint._replace(neutral=stands.local) for joint, stands in joints))
    turns = Rotation.random(7 * len(rest.joints), random_state=3).as_quat().reshape(7, -1, 4)
    steps = np.tile([joint.translation for joint in rest.joints], (7, 1, 1))
    clip = Clip("walk", np.arange(7) / 30, turns, steps, rest, in_metres=True)
    poses = poses_from_clip(rig, clip, Diagnostics())
    np.testing.assert_array_equal(poses.rotations, clip.rotations)
    np.testing.assert_allclose(poses.translations, clip.translations, atol=1e-15)
