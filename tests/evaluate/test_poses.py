"""Poses: what is accepted and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plica.evaluate import Evaluator, JointPlacement, Poses, SparsePose, poses_from, rest_poses
from plica.evaluate.poses import rest_scales, sparse_pose, whole_poses
from tests.support.rigs import random_rig


def test_sparse_poses_leave_the_rest_at_rest() -> None:
    rig = random_rig(1)
    pose = sparse_pose({"left_0": {"rotation": [0, 0, 1, 0]}, "middle_1": {"translation": [1, 2, 3]}}, {"left_dial": 1})
    poses, rest = poses_from(rig, [SparsePose(), pose]), rest_poses(rig)
    left, middle = poses.joints.index("left_0"), poses.joints.index("middle_1")
    assert poses.frames == 2
    assert poses.rotations[1, left].tolist() == [0, 0, 1, 0]
    assert poses.translations[1, middle].tolist() == [1, 2, 3]
    assert poses.controls[1].tolist() == [1, 0.125, 0.25, 0.25]
    poses.rotations[1, left], poses.translations[1, middle] = rest.rotations[0, left], rest.translations[0, middle]
    assert (poses.rotations == rest.rotations).all()
    assert (poses.translations == rest.translations).all()


@pytest.mark.parametrize(
    ("pose", "message"),
    [
        (SparsePose({"tail": JointPlacement()}), "no joint tail"),
        (SparsePose({}, {"tail": 1.0}), "no control tail"),
        (SparsePose({}, {"left_dial": float("nan")}), "value of left_dial must be 1 finite number$"),
        (SparsePose({"left_0": JointPlacement((0.0, 0.0, 1.0))}), "rotation of left_0 must be 4"),  # type: ignore[arg-type]
        (SparsePose({"left_0": JointPlacement(None, (0.0, 0.0, float("inf")))}), "translation of left_0 must be 3"),
    ],
)
def test_wrong_sparse_poses_are_refused(pose: SparsePose, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        poses_from(random_rig(1), [pose])


def test_unknown_parts_of_a_placement_are_refused() -> None:
    with pytest.raises(ValueError, match="left_0 has no shear"):
        sparse_pose({"left_0": {"shear": [1, 1, 1]}})
    with pytest.raises(ValueError, match="scale of left_0 must be 3 finite numbers"):
        sparse_pose({"left_0": {"scale": [1, 1]}})


def test_scales_stand_in_poses_only_where_one_is_given() -> None:
    rig = random_rig(1)
    assert rest_poses(rig).scales is None
    assert poses_from(rig, [SparsePose(), sparse_pose({"left_0": {"rotation": [0, 0, 1, 0]}})]).scales is None
    poses = poses_from(rig, [SparsePose(), sparse_pose({"left_0": {"scale": [1, 2, 3]}})])
    assert poses.scales is not None
    left = poses.joints.index("left_0")
    assert poses.scales[1, left].tolist() == [1, 2, 3]
    poses.scales[1, left] = rest_scales(rig)[0, left]
    assert (poses.scales == rest_scales(rig, 2)).all()
    assert poses[1].scales is not None and poses[1].scales.shape == (1, len(poses.joints), 3)
    with pytest.raises(ValueError, match="same number of frames"):
        replace(poses, scales=poses.scales[:1])
    with pytest.raises(ValueError, match="scales must have the shape"):
        replace(poses, scales=poses.scales[:, 1:])


def test_the_scales_at_rest_given_or_not_are_the_same_to_readings() -> None:
    rig = random_rig(6)
    poses = rest_poses(rig, 4)
    poses.rotations[:] += np.random.default_rng(6).normal(size=poses.rotations.shape)
    evaluator = Evaluator(rig)
    np.testing.assert_array_equal(
        evaluator.readings(replace(poses, scales=rest_scales(rig, 4))), evaluator.readings(poses)
    )


def test_wrong_arrays_are_refused() -> None:
    def poses(joints: tuple[str, ...], rotations: object, translations: object) -> Poses:
        return Poses(joints, np.array(rotations), np.array(translations), (), np.zeros((1, 0)))

    with pytest.raises(ValueError, match="rotations must have the shape"):
        poses(("a",), [[0, 0, 0, 1]], [[[0, 0, 0]]])
    with pytest.raises(ValueError, match="same number of frames"):
        poses(("a",), [[[0, 0, 0, 1]], [[0, 0, 0, 1]]], [[[0, 0, 0]]])
    with pytest.raises(ValueError, match="finite"):
        poses(("a",), [[[0, 0, 0, float("nan")]]], [[[0, 0, 0]]])
    with pytest.raises(ValueError, match="named twice"):
        poses(("a", "a"), np.ones((1, 2, 4)), np.ones((1, 2, 3)))


def test_poses_may_name_few_joints_in_any_order() -> None:
    rig = random_rig(2)
    full = rest_poses(rig, 3)
    full.rotations[:] += np.random.default_rng(1).normal(size=full.rotations.shape)
    full.translations[:, 2:] += 0.01
    order = [4, 2, 0]
    few = Poses(
        tuple(full.joints[column] for column in order),
        full.rotations[:, order],
        full.translations[:, order],
        ("right_dial",),
        full.controls[:, [1]],
    )
    rest = rest_poses(rig, 3)
    for column in order:
        rest.rotations[:, column], rest.translations[:, column] = (
            full.rotations[:, column],
            full.translations[:, column],
        )
    evaluator = Evaluator(rig)
    assert (evaluator.strengths(few) == evaluator.strengths(rest)).all()


def test_poses_of_another_rig_are_refused() -> None:
    poses = Poses(("tail",), np.ones((1, 1, 4)), np.ones((1, 1, 3)), (), np.zeros((1, 0)))
    with pytest.raises(ValueError, match="no joint tail"):
        Evaluator(random_rig(1)).strengths(poses)


def test_whole_poses_hold_every_joint_and_turn_the_short_way() -> None:
    rig = random_rig(3)
    joint = rig.skeleton[-1].name
    turned = np.array([[0.0, 0.0, 0.6, 0.8], [0.0, 0.0, -1.2, -1.6], [0.0, 0.0, 0.0, 0.0]])
    moved = np.array([[1.0, 2.0, 3.0]] * 3)
    whole = whole_poses(rig, Poses((joint,), turned[:, None], moved[:, None], (), np.zeros((3, 0))))
    rest = rest_poses(rig, 3)
    assert whole.joints == rest.joints and whole.scales is not None
    np.testing.assert_array_equal(whole.scales, rest_scales(rig, 3))
    column = whole.joints.index(joint)
    np.testing.assert_allclose(whole.rotations[:2, column], [[0.0, 0.0, 0.6, 0.8]] * 2)
    same = np.abs((whole.rotations[2, column] * rest.rotations[2, column]).sum())  # null: as in the neutral stance
    assert same == pytest.approx(1.0)
    np.testing.assert_array_equal(whole.translations[:, column], moved)
    others = [each for each in range(len(whole.joints)) if each != column]
    np.testing.assert_array_equal(whole.translations[:, others], rest.translations[:, others])
