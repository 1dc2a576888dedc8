"""Dense skin is followed with fewer points: what they are, and that all points come out well."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from plica.drafting.coarse import CoarsePatch
from plica.drafting.elastic_skin import Goal
from plica.drafting.patch import SkinPatch, patch_of
from plica.drafting.problem import DraftProblem, DraftSettings
from plica.drafting.region import spoiled_region
from plica.drafting.solve import drafted
from plica.mesh.weld import edges_of
from tests.support.drafts import bent_tube

ANGLE = 1.8


@pytest.fixture(scope="module")
def problem() -> DraftProblem:
    pytest.importorskip("ipctk")
    tube = bent_tube(ANGLE, around=32, along=49, length=0.4)
    return replace(tube, region=spoiled_region(tube.neutral, tube.triangles, tube.points, tube.skinned))


@pytest.fixture(scope="module")
def patch(problem: DraftProblem) -> SkinPatch:
    result = patch_of(problem, DraftSettings())
    assert result is not None
    return result


@pytest.fixture(scope="module")
def coarse(problem: DraftProblem, patch: SkinPatch) -> CoarsePatch:
    result = CoarsePatch.of(patch, problem)
    assert result is not None
    return result


def test_a_coarse_patch_is_the_same_surface_with_few_points(patch: SkinPatch, coarse: CoarsePatch) -> None:
    few = coarse.patch
    assert len(few.neutral) <= 0.5 * len(patch.neutral)
    edges = edges_of(few.contact_triangles)
    lengths = np.linalg.norm(few.neutral[edges[:, 0]] - few.neutral[edges[:, 1]], axis=1)
    assert lengths.min() > 0.8 * coarse.spacing  # a straight line is shorter than the way along the surface
    sides = np.sort(few.contact_triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    _, times = np.unique(sides, axis=0, return_counts=True)
    assert times.max() == 2  # as on any surface
    volume, _ = few.volumes[0].of_places(few.neutral)
    assert volume == pytest.approx(patch.volumes[0].of_places(patch.neutral)[0], rel=0.1)
    assert np.isin(few.points[few.moving], patch.points[patch.moving]).all()


def test_what_turns_the_coarse_points_turns_all(patch: SkinPatch, coarse: CoarsePatch) -> None:
    turn, move = Rotation.from_rotvec([0.3, -0.8, 0.5]).as_matrix(), np.array([0.5, 0.1, -2.0])
    turns = np.broadcast_to(turn, (len(coarse.patch.neutral), 3, 3))
    elsewhere = Goal(np.full_like(patch.neutral, 9.0), np.zeros(0))
    result = coarse.refined(coarse.patch.neutral @ turn.T + move, turns, elsewhere, patch.moving)
    assert np.allclose(result[patch.moving], patch.neutral[patch.moving] @ turn.T + move, atol=1e-12)
    held = np.setdiff1d(np.arange(len(patch.neutral)), patch.moving)
    assert len(held) > 0
    assert (result[held] == 9.0).all()


def test_skin_of_few_points_stays_as_it_is() -> None:
    problem = bent_tube(ANGLE, around=12, along=31)
    patch = patch_of(problem, DraftSettings())
    assert patch is not None
    assert CoarsePatch.of(patch, problem) is None


def test_a_dense_draft_comes_out_whole_and_with_the_same_bytes(problem: DraftProblem) -> None:
    settings = DraftSettings(inbetweens=0)
    draft, again = drafted(problem, settings), drafted(problem, settings)
    assert draft.poses[-1].positions.tobytes() == again.poses[-1].positions.tobytes()
    assert draft.before.crossings > 10
    assert draft.reached == 1.0
    assert draft.after.crossings == 0
    assert draft.after.volume == pytest.approx(1.0, abs=0.005)
    assert draft.after.worst_stretch < 0.75 * draft.before.worst_stretch
    assert draft.after.least_singular_value > 2.0 * draft.before.least_singular_value
