"""Sculpts over the posed mesh, brought back to the neutral mesh."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation as Turn

from plica.diagnostics.catalogue import rule
from plica.evaluate.pose_components import skeleton_of
from plica.mesh.arrays import Floats, Mesh, Offsets
from plica.mesh.deform import Deformer, Motion
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.skinning import Skinning
from plica.mesh.unpose import FOLDED, Unposer
from plica.skeleton.skeleton import Skeleton
from plica.values import SkinningMethod
from tests.support.rigs import random_rig
from tests.support.skins import dense, random_character, random_poses, random_skin, rig_of

METHODS: tuple[SkinningMethod, ...] = ("linear", "dual quaternion")


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from(METHODS), st.floats(0.05, 0.6), st.floats(0.001, 0.3))
def test_posing_again_gives_the_sculpt(seed: int, method: SkinningMethod, bend: float, size: float) -> None:
    rig, mesh, shapes = random_character(seed % 7, 200, 4, 60)
    deformer = Deformer(mesh, rig, shapes)
    random = np.random.default_rng(seed)
    motion = deformer.motion(random_poses(rig, 1, seed, bend))
    earlier = deformer.offsets(motion)[0]
    (before,) = deformer.positions(motion, method)
    sculpt = before.positions[0] + random.normal(scale=size, size=(200, 3))
    result = Unposer(deformer.skinning, mesh.positions, motion.skins[0], earlier, method).sculpt(sculpt)
    own = dense(result.offsets, 200)
    matrices = deformer.skinning.matrices(motion.skins, method)[0]
    again = np.einsum("vij,vj->vi", matrices[..., :3], mesh.positions + earlier + own) + matrices[..., 3]
    miss = np.linalg.norm(again - sculpt, axis=1)
    # what cannot come back is reported with how far it is off
    reported = np.zeros(200)
    reported[result.ill.vertices] = result.ill.lost
    body = np.ptp(mesh.positions, axis=0).max()
    assert np.abs(miss - reported).max() < 1e-6 * body


@pytest.mark.parametrize("method", METHODS)
def test_offsets_of_a_few_vertices_are_those_of_the_whole_sculpt(method: SkinningMethod) -> None:
    rig, mesh, shapes = random_character(2, 150, 3, 50)
    deformer = Deformer(mesh, rig, shapes)
    motion = deformer.motion(random_poses(rig, 1))
    earlier = deformer.offsets(motion)[0]
    (before,) = deformer.positions(motion, method)
    moved = Offsets(np.array([3, 70, 149]), np.random.default_rng(0).normal(size=(3, 3)))
    unposer = Unposer(deformer.skinning, mesh.positions, motion.skins[0], earlier, method)
    sparse = unposer.sparse(moved).offsets
    np.testing.assert_array_equal(sparse.indices, moved.indices)
    whole = unposer.sculpt(before.positions[0] + dense(moved, 150)).offsets
    np.testing.assert_allclose(dense(sparse, 150), dense(whole, 150), atol=1e-11)


def test_what_was_not_sculpted_has_no_offset() -> None:
    rig = random_rig(3)
    mesh = random_skin(rig, 40)
    identity = np.tile(np.eye(3, 4), (len(mesh.bind_joints), 1, 1))
    sculpt = mesh.positions.copy()
    sculpt[7] += (0.0, 0.01, 0.0)
    mesh = replace(mesh, weights=np.repeat([[1.0, 0.0, 0.0, 0.0]], 40, axis=0))
    result = Unposer(Skinning(mesh), mesh.positions, identity).sculpt(sculpt)
    np.testing.assert_array_equal(result.offsets.indices, [7])
    np.testing.assert_allclose(result.offsets.offsets, [(0.0, 0.01, 0.0)], atol=1e-15)
    assert result.ill.count == 0


def folded(twist: float) -> tuple[Mesh, Floats]:
    """A skin held half by a joint that stays and half by one that is twisted about y: at half a turn it falls flat."""
    rig = random_rig(3)
    mesh = random_skin(rig, 30)
    mesh = replace(mesh, joints=np.array([[0, 1]] * 30), weights=np.full((30, 2), 0.5))
    skins = np.tile(np.eye(3, 4), (len(mesh.bind_joints), 1, 1))
    skins[1, :, :3] = Turn.from_euler("y", twist, degrees=True).as_matrix()
    return mesh, skins


@pytest.mark.parametrize("twist", [180.0, 179.99])
def test_where_the_skin_falls_flat_the_shortest_offset_comes_nearest(twist: float) -> None:
    """The oracle is numpy.linalg.pinv."""
    mesh, skins = folded(twist)
    moved = Offsets(np.arange(5, 25), np.random.default_rng(1).normal(scale=0.01, size=(20, 3)))
    result = Unposer(Skinning(mesh), mesh.positions, skins).sparse(moved)
    np.testing.assert_array_equal(result.ill.vertices, moved.indices)
    assert (result.ill.condition > 1e3).all()
    matrix = Skinning(mesh).matrices(skins[np.newaxis])[0, 0, :, :3]
    nearest = moved.offsets @ np.linalg.pinv(matrix, rcond=1e-3).T
    np.testing.assert_allclose(dense(result.offsets, 30)[5:25], nearest, atol=1e-12)
    # only what lies along the twist's axis is left of the skin
    np.testing.assert_allclose(result.ill.lost, np.linalg.norm(moved.offsets[:, [0, 2]], axis=1), rtol=1e-3)
    values = result.ill.texts("elbow_swell")
    assert rule(FOLDED).message.format_map(values)
    assert values["count"] == "20"


def test_a_limit_tells_what_is_ill_conditioned() -> None:
    mesh, skins = folded(170.0)
    moved = Offsets(np.array([4]), np.ones((1, 3)))
    condition = np.linalg.cond(Skinning(mesh).matrices(skins[np.newaxis])[0, 0, :, :3])
    for limit, count in ((condition * 0.99, 1), (condition * 1.01, 0)):
        result = Unposer(Skinning(mesh), mesh.positions, skins, limit=float(limit)).sparse(moved)
        assert result.ill.count == count
        if count:
            assert result.ill.condition[0] == pytest.approx(condition, rel=1e-9)


def test_flat_skin_that_was_not_sculpted_is_no_matter() -> None:
    mesh, skins = folded(180.0)
    skinning = Skinning(mesh)
    matrices = skinning.matrices(skins[np.newaxis])[0]
    posed = np.einsum("vij,vj->vi", matrices[..., :3], mesh.positions) + matrices[..., 3]
    result = Unposer(skinning, mesh.positions, skins).sculpt(posed)
    assert result.ill.lost.max(initial=0.0) < 1e-12
    assert np.abs(result.offsets.offsets).max(initial=0.0) < 1e-12


def test_skin_that_collapses_to_a_point_takes_no_offset() -> None:
    mesh, skins = folded(0.0)
    skins[:2] = 0.0
    result = Unposer(Skinning(mesh), mesh.positions, skins).sparse(Offsets(np.array([2]), np.array([[0.0, 3.0, 4.0]])))
    assert result.offsets.count == 0
    np.testing.assert_array_equal(result.ill.vertices, [2])
    assert np.isinf(result.ill.condition[0])
    assert result.ill.lost[0] == pytest.approx(5.0)


def test_small_but_even_scale_is_well_conditioned() -> None:
    mesh, skins = folded(30.0)
    skins[..., :3] *= 1e-9
    result = Unposer(Skinning(mesh), mesh.positions, skins).sparse(Offsets(np.array([2]), np.ones((1, 3))))
    assert result.ill.count == 0
    assert np.abs(result.offsets.offsets).max() > 1e8


def test_sculpts_of_another_mesh_are_refused() -> None:
    mesh, skins = folded(10.0)
    with pytest.raises(ValueError, match="29 vertices, the mesh 30"):
        Unposer(Skinning(mesh), mesh.positions, skins).sculpt(np.zeros((29, 3)))


def test_a_shape_made_from_an_unposed_sculpt_poses_to_it() -> None:
    """Through the deformer, as a build does it."""
    mesh, skins = folded(60.0)
    sculpt = np.random.default_rng(4).normal(size=(30, 3))
    result = Unposer(Skinning(mesh), mesh.positions, skins).sculpt(sculpt).offsets
    rig = rig_of(_skeleton(), ["swell"])
    (block,) = Deformer(mesh, rig, {"swell": Inbetweens(result)}).positions(Motion(np.ones((1, 1)), skins[np.newaxis]))
    np.testing.assert_allclose(block.positions[0], sculpt, atol=1e-12)


def _skeleton() -> Skeleton:
    return skeleton_of(random_rig(3))
