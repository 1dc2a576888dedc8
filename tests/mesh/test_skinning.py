"""Blended matrices, linear and by dual quaternions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation as Turn

from plica.evaluate.poses import rest_scales
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.joint_matrices import Kinematics
from plica.mesh.rigid_motions import motions
from plica.mesh.skinning import Skinning
from plica.values import SkinningMethod
from tests.support.rigs import random_rig
from tests.support.skins import placed, random_poses, random_skin

METHODS: tuple[SkinningMethod, ...] = ("linear", "dual quaternion")


def skinned(vertices: int = 60, frames: int = 4) -> tuple[Mesh, Floats]:
    """A mesh and skin matrices of random poses."""
    rig = random_rig(5)
    mesh = random_skin(rig, vertices)
    return mesh, Kinematics(rig).skins(mesh, random_poses(rig, frames))


def test_linear_blend_is_the_weighted_mean() -> None:
    mesh, skins = skinned()
    expected = np.einsum("vk,fvkij->fvij", mesh.weights, skins[:, mesh.joints])
    np.testing.assert_allclose(Skinning(mesh).matrices(skins), expected, atol=1e-13)


@pytest.mark.parametrize("method", METHODS)
def test_the_order_of_influences_and_repeated_ones_do_not_matter(method: SkinningMethod) -> None:
    mesh, skins = skinned()
    turned = replace(
        mesh,
        joints=np.concatenate([mesh.joints[:, ::-1]] * 2, axis=1),
        weights=np.concatenate([mesh.weights[:, ::-1] * 0.75, mesh.weights[:, ::-1] * 0.25], axis=1),
    )
    np.testing.assert_allclose(
        Skinning(turned).matrices(skins, method), Skinning(mesh).matrices(skins, method), atol=1e-12
    )


@pytest.mark.parametrize("method", METHODS)
def test_where_all_joints_move_alike_the_skin_does(method: SkinningMethod) -> None:
    """Stretched, sheared and mirrored matrices included."""
    mesh, _ = skinned()
    alike = np.random.default_rng(7).normal(size=(8, 1, 3, 4))
    skins = np.repeat(alike, len(mesh.bind_joints), axis=1)
    result = Skinning(mesh).matrices(skins, method)
    np.testing.assert_allclose(result, np.broadcast_to(alike, result.shape), atol=1e-12)


def test_dual_quaternions_keep_the_skin_rigid() -> None:
    rig = random_rig(5)
    mesh = random_skin(rig, 60)
    poses = replace(random_poses(rig, 4), scales=rest_scales(rig, 4))
    linear = Skinning(mesh).matrices(Kinematics(rig).skins(mesh, poses), "dual quaternion")[..., :3]
    np.testing.assert_allclose(linear @ linear.swapaxes(2, 3), np.broadcast_to(np.eye(3), linear.shape), atol=1e-12)
    assert (np.linalg.det(linear) > 0).all()


def test_half_of_a_turn_about_the_axis_between_is_half_the_angle() -> None:
    """Kavan and others 2007: two equal weights give the motion halfway along the screw between both."""
    mesh, _ = skinned(3)
    mesh = replace(mesh, joints=np.array([[0, 1]] * 3), weights=np.full((3, 2), 0.5))
    skins = np.repeat(np.eye(3, 4)[np.newaxis, np.newaxis], len(mesh.bind_joints), axis=1)
    # more than half a turn in between goes the short way round
    for angle, halfway in ((100.0, 50.0), (200.0, -80.0), (-300.0, 30.0)):
        skins[0, 1, :, :3] = Turn.from_euler("y", angle, degrees=True).as_matrix()
        skins[0, 1, 1, 3] = 0.6
        result = Skinning(mesh).matrices(skins, "dual quaternion")[0, 0]
        np.testing.assert_allclose(result[:, :3], Turn.from_euler("y", halfway, degrees=True).as_matrix(), atol=1e-12)
        np.testing.assert_allclose(result[:, 3], (0.0, 0.3, 0.0), atol=1e-12)


@pytest.mark.parametrize("method", METHODS)
def test_a_mesh_without_binds_stays(method: SkinningMethod) -> None:
    mesh, _ = skinned(5)
    result = Skinning(placed(mesh)).matrices(np.zeros((2, 0, 3, 4)), method)
    np.testing.assert_array_equal(result, np.broadcast_to(np.eye(3, 4), (2, 5, 3, 4)))


def test_a_motion_after_its_stretch_is_the_matrix() -> None:
    affines = np.random.default_rng(2).normal(size=(40, 3, 4))
    result = motions(affines)
    # rotations by scipy.spatial.transform.Rotation
    turned = Turn.from_quat(result.real).as_matrix()
    np.testing.assert_allclose(turned @ result.stretch, affines[..., :3], atol=1e-12)
    np.testing.assert_allclose(result.stretch, result.stretch.swapaxes(1, 2), atol=1e-12)
    np.testing.assert_allclose((result.real * result.dual).sum(axis=1), 0, atol=1e-12)
