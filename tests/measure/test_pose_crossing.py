"""Crossings in a single pose, against those that are found over many."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plica.measure.crossing import Crossing
from plica.measure.pose_crossing import PoseCrossing
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.deform import Deformer
from plica.prove.sweeps import Sweeper
from tests.support.arms import Arms, arms
from tests.support.meshes import bare_mesh
from tests.support.solids import sphere


@pytest.fixture(name="bent", scope="module")
def bent_arms() -> tuple[Arms, Floats]:
    driver = "driver elbow both { reads rotation about z of lowerarm   span 0 deg .. 150 deg }\n"
    made = arms(driver, shapes={})
    poses = Sweeper(made.rig, steps=5).sweep("left_elbow").poses
    return made, next(Deformer(made.attached.mesh, made.rig, {}).positions(poses)).positions


def test_the_pairs_are_those_of_a_whole_sweep(bent: tuple[Arms, Floats]) -> None:
    made, positions = bent
    mesh = made.attached.mesh
    every = np.ones(mesh.vertex_count)
    known = Crossing.prepared(mesh, positions[0], every).of(positions)
    once = PoseCrossing.prepared(mesh, positions[0], every)
    counts = []
    for frame in range(len(positions)):
        pairs = once.pairs(positions[frame])
        expected = known.triangles[known.frames == frame]
        assert {tuple(pair) for pair in pairs.tolist()} == {tuple(pair) for pair in expected.tolist()}
        counts.append(len(pairs))
    assert counts[0] == 0 and counts[-1] > 10


def test_different_surfaces_and_what_one_joint_carries_do_not_count() -> None:
    positions, triangles = sphere(12, 12)
    count = len(positions)
    both = bare_mesh(np.concatenate([positions, positions + 5.0]), np.concatenate([triangles, triangles + count]))
    mesh = replace(both, joints=np.repeat([[0], [1]], count, axis=0), bind_joints=np.arange(2))
    pushed = np.concatenate([positions, positions + 1.0])
    assert len(Crossing.prepared(mesh, mesh.positions).of(pushed[None]).triangles) > 0
    assert len(_pairs(mesh, pushed)) == 0
    # One surface: its own skin pushed through itself, carried by one joint or by two.
    flat = np.where(positions[:, :1] > 0.0, positions - (1.2, 0.0, 0.0), positions)
    alone = bare_mesh(positions, triangles)
    assert len(_pairs(alone, flat)) == 0
    halves = replace(alone, joints=np.where(positions[:, :1] > 0.0, 0, 1), bind_joints=np.arange(2))
    assert len(_pairs(halves, flat)) > 0


def test_pairs_that_meet_at_rest_do_not_count() -> None:
    positions, triangles = sphere(12, 12)
    flat = np.where(positions[:, :1] > 0.0, positions - (1.2, 0.0, 0.0), positions)
    joints = np.where(positions[:, :1] > 0.0, 0, 1)
    mesh = replace(bare_mesh(flat, triangles), joints=joints, bind_joints=np.arange(2))
    assert len(_pairs(mesh, flat)) == 0


def test_a_region_without_triangles_is_refused() -> None:
    positions, triangles = sphere(4, 4)
    with pytest.raises(ValueError, match="no triangles"):
        PoseCrossing.prepared(bare_mesh(positions, triangles), positions, np.zeros(len(positions)))


def _pairs(mesh: Mesh, positions: Floats) -> Floats:
    every = np.ones(mesh.vertex_count)
    return PoseCrossing.prepared(mesh, mesh.positions, every).pairs(positions).astype(np.float64)
