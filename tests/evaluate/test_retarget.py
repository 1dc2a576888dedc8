"""Clips carried to a character: the same skeleton, other frames, mirrored frames, other proportions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from plica.diagnostics import Diagnostics
from plica.evaluate.retarget import poses_from_clip
from plica.kinds.readings import Bend, Gap
from plica.readers.clip import Clip
from plica.rig.rig import Character, Rig, RigJoint
from plica.rig.strengths import Driver
from plica.skeleton.skeleton import Joint, Skeleton
from plica.values import Alias, Linear

Array = NDArray[np.float64]
GENERATOR = np.random.default_rng(11)


def rig_of_skeleton(skeleton: Skeleton, *, aliases: tuple[Alias, ...] = (), strengths: tuple[Driver, ...] = ()) -> Rig:
    names = [joint.name for joint in skeleton.joints]
    joints = tuple(
        RigJoint(
            joint.name,
            None if joint.parent is None else names[joint.parent],
            joint.local,
            joint.local,
            "none",
            None,
            True,
        )
        for joint in skeleton.joints
    )
    return Rig(Character("wren", "", None, 1e-4), joints, aliases=aliases, strengths=strengths)


def _random_skeleton(*, scale: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> Skeleton:
    turns = Rotation.random(3, rng=GENERATOR).as_quat()
    places = GENERATOR.normal(size=(3, 3))
    return Skeleton(
        tuple(
            Joint(name, parent, tuple(places[index]), tuple(turns[index]), scale if index == 0 else (1.0, 1.0, 1.0))
            for index, (name, parent) in enumerate((("hips", None), ("arm", 0), ("hand", 1)))
        )
    )


def _clip(skeleton: Skeleton, frames: int = 5, *, in_metres: bool = True) -> Clip:
    count = len(skeleton.joints)
    rotations = Rotation.random(frames * count, rng=GENERATOR).as_quat().reshape(frames, count, 4)
    translations = GENERATOR.normal(size=(frames, count, 3))
    return Clip("walk", np.arange(frames) / 30, rotations, translations, skeleton, in_metres, is_rest_bound=True)


def _turn_in_model(skeleton: Skeleton, index: int, rotations: Array) -> Array:
    """The rotation since rest as matrices of model space, F d F^-1 with the joint's rest axes F."""
    rest = Rotation.from_quat(skeleton.joints[index].rotation)
    turn = (rest.inv() * Rotation.from_quat(rotations)).as_matrix()
    frame = np.array(skeleton.orientation(index))
    return np.asarray(frame @ turn @ frame.T)


def test_a_clip_of_the_same_skeleton_is_carried_bit_for_bit() -> None:
    skeleton = _random_skeleton()
    clip, result = _clip(skeleton), Diagnostics()
    poses = poses_from_clip(rig_of_skeleton(skeleton), clip, result)
    np.testing.assert_array_equal(poses.rotations, clip.rotations)
    np.testing.assert_allclose(poses.translations, clip.translations, atol=1e-15)
    assert result.all == ()


@pytest.mark.parametrize("scale", [(1.0, 1.0, 1.0), (-1.0, 1.0, 1.0), (2.0, 2.0, 2.0)])
def test_other_frames_turn_the_same_way_in_model_space(scale: tuple[float, float, float]) -> None:
    own, theirs = _random_skeleton(scale=scale), _random_skeleton()
    clip = _clip(theirs)
    poses = poses_from_clip(rig_of_skeleton(own), clip, Diagnostics())
    for index in range(3):
        np.testing.assert_allclose(
            _turn_in_model(own, index, poses.rotations[:, index]),
            _turn_in_model(theirs, index, clip.rotations[:, index]),
            atol=1e-12,
        )


def test_translations_are_carried_in_metres_of_model_space() -> None:
    own, theirs = _random_skeleton(scale=(2.0, 2.0, 2.0)), _random_skeleton()
    clip = _clip(theirs)
    poses = poses_from_clip(rig_of_skeleton(own), clip, Diagnostics())
    for index in range(3):
        moved = poses.translations[:, index] - own.joints[index].translation
        expected = clip.translations[:, index] - theirs.joints[index].translation
        np.testing.assert_allclose(
            moved @ np.array(own.parent_frame(index).linear).T,
            expected @ np.array(theirs.parent_frame(index).linear).T,
            atol=1e-12,
        )


def test_translations_without_a_unit_are_left_at_rest() -> None:
    skeleton = _random_skeleton()
    poses = poses_from_clip(rig_of_skeleton(skeleton), _clip(skeleton, in_metres=False), Diagnostics())
    for index, joint in enumerate(skeleton.joints):
        assert poses.translations[:, index].tolist() == [list(joint.translation)] * 5


def _stretch_in_model(skeleton: Skeleton, index: int, scales: Array) -> Array:
    """The stretch since rest as matrices of model space, F S S_rest^-1 F^T with the joint's rest axes F."""
    frame = np.array(skeleton.orientation(index))
    since = scales / np.array(skeleton.joints[index].scale)
    return np.asarray(np.einsum("ij,fj,kj->fik", frame, since, frame))


def _scaled(clip: Clip, scales: Array) -> Clip:
    return replace(clip, scales=scales * np.array([joint.scale for joint in clip.rest.joints]))


def test_scales_of_the_same_skeleton_are_carried_bit_for_bit() -> None:
    skeleton = _random_skeleton(scale=(2.0, 1.0, 0.5))
    clip, result = _scaled(_clip(skeleton), GENERATOR.uniform(0.5, 2.0, (5, 3, 3))), Diagnostics()
    poses = poses_from_clip(rig_of_skeleton(skeleton), clip, result)
    np.testing.assert_array_equal(poses.scales, clip.scales)
    assert result.all == ()


def test_scales_that_are_the_same_along_all_axes_are_carried_to_any_axes() -> None:
    own, theirs = _random_skeleton(scale=(2.0, 2.0, 2.0)), _random_skeleton()
    clip, result = _scaled(_clip(theirs), GENERATOR.uniform(0.5, 2.0, (5, 3, 1))), Diagnostics()
    poses = poses_from_clip(rig_of_skeleton(own), clip, result)
    assert poses.scales is not None and clip.scales is not None and result.all == ()
    for index in range(3):
        np.testing.assert_allclose(
            _stretch_in_model(own, index, poses.scales[:, index]),
            _stretch_in_model(theirs, index, clip.scales[:, index]),
            atol=1e-12,
        )


def test_scales_go_along_the_same_lines_where_axes_are_exchanged() -> None:
    theirs = Skeleton((Joint("hips"),))
    own = Skeleton((Joint("hips", rotation=(0.5, 0.5, 0.5, 0.5), scale=(2.0, 2.0, 2.0)),))  # x to y, y to z, z to x
    clip, result = _scaled(_clip(theirs), np.tile([1.1, 1.2, 1.3], (5, 1, 1))), Diagnostics()
    poses = poses_from_clip(rig_of_skeleton(own), clip, result)
    assert poses.scales is not None and result.all == ()
    np.testing.assert_allclose(poses.scales[:, 0], np.tile([2.4, 2.6, 2.2], (5, 1)), atol=1e-12)


def test_scales_that_no_scale_of_the_other_joint_matches_are_reported() -> None:
    own, theirs = _random_skeleton(), _random_skeleton()
    clip, result = _scaled(_clip(theirs), np.tile([1.5, 1.0, 1.0], (5, 3, 1))), Diagnostics()
    poses = poses_from_clip(rig_of_skeleton(own), clip, result)
    assert poses.scales is not None and (poses.scales == 1.0).all()
    assert [one.name for one in result.all] == ["clip-scale-askew"]
    assert "`hips`, `arm`, `hand`" in result.all[0].message


def test_the_rest_pose_of_a_clip_is_the_rest_pose_of_the_character() -> None:
    own, theirs = _random_skeleton(), _random_skeleton()
    rest = np.array([[joint.rotation for joint in theirs.joints]])
    places = np.array([[joint.translation for joint in theirs.joints]])
    poses = poses_from_clip(rig_of_skeleton(own), Clip("rest", np.zeros(1), rest, places, theirs, True), Diagnostics())
    for index, joint in enumerate(own.joints):
        np.testing.assert_allclose(np.abs(np.dot(poses.rotations[0, index], joint.rotation)), 1.0, atol=1e-15)
        np.testing.assert_array_equal(poses.translations[0, index], joint.translation)


def test_aliases_come_before_names_and_left_over_joints_are_reported() -> None:
    skeleton = Skeleton((Joint("hips"), Joint("arm", 0), Joint("wing", 0)))
    other = Skeleton((Joint("Hüfte"), Joint("arm", 0), Joint("Tail", 0)))
    drivers = tuple(
        Driver(name, "none", name, reading, (0.0, 1.0), True, Linear())
        for name, reading in (("a", Bend("hips")), ("b", Gap("wing", "arm", 1.0)))
    )
    rig = rig_of_skeleton(skeleton, aliases=(Alias("Hüfte", "hips"), Alias("Schwanz", "wing")), strengths=drivers)
    clip, result = _clip(other), Diagnostics()
    poses = poses_from_clip(rig, clip, result)
    assert poses.joints == ("hips", "arm")
    np.testing.assert_array_equal(poses.rotations, clip.rotations[:, :2])
    assert {diagnostic.name: diagnostic.message for diagnostic in result.all} == {
        "clip-joints-unused": "the character has no joints for `Tail` of clip `walk`",
        "clip-leaves-joints": "clip `walk` does not move `wing`, which drivers read; they stay at rest",
    }


def test_a_clip_that_fits_nothing_is_an_error() -> None:
    diagnostics = Diagnostics()
    poses = poses_from_clip(rig_of_skeleton(Skeleton((Joint("hips"),))), _clip(Skeleton((Joint("Root"),))), diagnostics)
    assert poses.joints == ()
    assert poses.frames == 5
    assert [diagnostic.name for diagnostic in diagnostics.all] == ["clip-fits-nothing"]
