"""Forward kinematics and skin matrices."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation as Turn

from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.poses import Poses, rest_poses
from plica.mesh.joint_matrices import Kinematics, composed, rotation_matrices
from plica.rig.rig import Rig
from tests.support.rigs import random_rig
from tests.support.skins import random_poses, random_skin


def scaled_rig() -> Rig:
    """A rig whose joints have scales at rest, unequal and negative ones too."""
    rig = random_rig(4)
    random = np.random.default_rng(4)
    joints = []
    for joint in rig.skeleton:
        x, y, z = (random.uniform(0.5, 2.0, 3) * random.choice([-1.0, 1.0], 3)).tolist()
        joints.append(joint._replace(neutral=joint.neutral._replace(scale=(x, y, z))))
    return rig._replace(skeleton=tuple(joints))


@pytest.mark.parametrize("rig", [random_rig(2), scaled_rig()])
def test_the_rest_pose_has_the_skeletons_rest_frames(rig: Rig) -> None:
    result = Kinematics(rig).globals(rest_poses(rig, 3))
    for joint, frame in enumerate(skeleton_of(rig).frames):
        expected = np.column_stack([frame.linear, frame.origin])
        np.testing.assert_allclose(result[:, joint], np.broadcast_to(expected, (3, 3, 4)), atol=1e-12)


def test_a_skin_bound_at_rest_is_the_identity_there() -> None:
    rig = scaled_rig()
    skins = Kinematics(rig).skins(random_skin(rig, 30), rest_poses(rig))
    np.testing.assert_allclose(skins[0], np.broadcast_to(np.eye(3, 4), skins[0].shape), atol=1e-12)


def test_every_frame_is_the_chain_of_its_joints() -> None:
    rig = scaled_rig()
    poses = random_poses(rig, 5)
    assert poses.scales is not None
    result = Kinematics(rig).globals(poses)
    skeleton = skeleton_of(rig)
    for frame in range(5):
        for joint in range(len(rig.skeleton)):
            expected = np.eye(4)
            for above in reversed([joint, *skeleton.ancestors(joint)]):
                local = np.eye(4)
                local[:3, :3] = Turn.from_quat(poses.rotations[frame, above]).as_matrix() * poses.scales[frame, above]
                local[:3, 3] = poses.translations[frame, above]
                expected = expected @ local
            np.testing.assert_allclose(result[frame, joint], expected[:3], atol=1e-12)


def test_joints_that_are_not_named_and_null_quaternions_are_at_rest() -> None:
    rig = random_rig(2)
    name, last = rig.skeleton[0].name, rig.skeleton[-1].name
    rest = rest_poses(rig)
    null = Poses(
        (last, name),
        np.zeros((1, 2, 4)),
        rest.translations[:, [-1, 0]],
        (),
        np.zeros((1, 0)),
    )
    kinematics = Kinematics(rig)
    np.testing.assert_array_equal(kinematics.globals(null), kinematics.globals(rest))


def test_the_length_of_a_quaternion_does_not_matter() -> None:
    rig = random_rig(2)
    poses = random_poses(rig, 2)
    longer = Poses(poses.joints, -3.0 * poses.rotations, poses.translations, (), np.zeros((2, 0)), poses.scales)
    kinematics = Kinematics(rig)
    np.testing.assert_allclose(kinematics.globals(longer), kinematics.globals(poses), atol=1e-13)


def test_unknown_joints_are_refused() -> None:
    poses = Poses(("tail",), np.ones((1, 1, 4)), np.zeros((1, 1, 3)), (), np.zeros((1, 0)))
    with pytest.raises(ValueError, match="no joint tail"):
        Kinematics(random_rig(2)).globals(poses)


def test_rotation_matrices_are_scipys() -> None:
    quaternions = np.random.default_rng(0).normal(size=(50, 4))
    # scipy.spatial.transform.Rotation
    np.testing.assert_allclose(
        rotation_matrices(quaternions), Turn.from_quat(quaternions).as_matrix(), rtol=0, atol=1e-14
    )


def test_affine_products_are_those_of_whole_matrices() -> None:
    first, second = np.random.default_rng(1).normal(size=(2, 6, 3, 4))
    last = np.broadcast_to([[0.0, 0.0, 0.0, 1.0]], (6, 1, 4))
    whole = np.concatenate([first, last], axis=1) @ np.concatenate([second, last], axis=1)
    np.testing.assert_allclose(composed(first, second), whole[:, :3], atol=1e-14)
