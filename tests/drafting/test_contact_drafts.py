"""Drafts with contact: the bend is followed from the neutral stance, and nothing passes through anything."""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
import pytest

from plica.drafting.problem import Draft, DraftProblem, DraftSettings, NoContactError
from plica.drafting.region import spoiled_region
from plica.drafting.solve import drafted
from tests.support.drafts import bent_tube

ANGLE = 2.4


@pytest.fixture(scope="module")
def problem() -> DraftProblem:
    pytest.importorskip("ipctk")
    tube = bent_tube(ANGLE, around=12, along=31)
    return replace(tube, region=spoiled_region(tube.neutral, tube.triangles, tube.points, tube.skinned))


@pytest.fixture(scope="module")
def draft(problem: DraftProblem) -> Draft:
    return drafted(problem, DraftSettings())


def test_what_passes_through_itself_does_not_any_more(draft: Draft) -> None:
    assert draft.before.crossings > 10
    assert draft.reached == 1.0
    assert draft.after.crossings == 0
    assert draft.after.volume == pytest.approx(1.0, abs=0.005)
    assert draft.after.worst_stretch < 0.75 * draft.before.worst_stretch
    assert draft.after.usual_stretch < draft.before.usual_stretch + 0.1
    assert draft.after.least_singular_value > 2.0 * draft.before.least_singular_value


def test_the_same_bytes_come_from_every_run(problem: DraftProblem, draft: Draft) -> None:
    again = drafted(problem, DraftSettings())
    assert again.reached == draft.reached
    for one, other in zip(draft.poses, again.poses, strict=True):
        assert one.share == other.share
        assert one.positions.tobytes() == other.positions.tobytes()


def test_inbetweens_are_chosen_by_what_is_on_the_way(problem: DraftProblem, draft: Draft) -> None:
    assert [pose.share for pose in draft.poses] == [0.5, 1.0]  # nothing tells how offsets are carried
    turned = replace(problem, matrices=lambda share: _blended(problem, share))
    chosen = drafted(turned, DraftSettings())
    shares = [pose.share for pose in chosen.poses]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert 1 <= len(shares) <= 4
    assert draft.between is None
    assert chosen.between is not None
    assert chosen.between.crossings == 0
    assert chosen.between.volume < 0.0075


def _blended(problem: DraftProblem, share: float) -> np.ndarray:
    """The matrices of the tube's two joints, mixed by the weights that `bent_tube` has."""
    weight = np.clip(0.5 + problem.neutral[:, 0] / 0.08, 0.0, 1.0)[:, None, None]
    cos, sin = np.cos(share * ANGLE), np.sin(share * ANGLE)
    return np.asarray((1.0 - weight) * np.eye(3) + weight * np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]]))


def test_where_what_stays_blocks_the_way_the_draft_ends_whole(problem: DraftProblem) -> None:
    """Only a narrow band may move, so that the parts beside it, which follow skinning, run into each other."""
    band = (np.abs(problem.neutral[:, 0]) < 0.02).astype(np.float64)
    blocked = drafted(replace(problem, region=band), DraftSettings(border=0.02))
    assert 0.0 < blocked.reached < 1.0
    assert blocked.poses[-1].share == blocked.reached
    assert blocked.after.worst_stretch < max(blocked.before.worst_stretch, 1.0) + 0.3


def test_a_pose_that_passes_through_itself_is_none_of_the_draft(problem: DraftProblem) -> None:
    """Skin that is folded onto itself in the neutral stance is let be by contact, and goes on into itself."""
    x, y, _ = problem.neutral.T
    fold = np.zeros_like(problem.neutral)
    fold[(np.abs(x) < 1e-9) & (y > 0.03), 0] = 0.02
    folded = replace(
        problem,
        neutral=problem.neutral + fold,
        skinned=lambda share: (
            problem.skinned(share)
            + np.einsum("vij,vj->vi", np.broadcast_to(_blended(problem, share), (len(x), 3, 3)), fold)
        ),
    )
    draft = drafted(folded, DraftSettings(inbetweens=0))
    assert 0.5 < draft.reached < 1.0
    assert draft.poses[-1].share == draft.reached
    assert draft.after.crossings == 0


def test_without_the_package_contact_is_refused_and_the_rest_works(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "ipctk", None)
    tube = bent_tube(1.0, around=8, along=21)
    with pytest.raises(NoContactError, match="ipctk"):
        drafted(tube, DraftSettings())
    assert drafted(tube, DraftSettings(contact=False)).reached == 1.0
