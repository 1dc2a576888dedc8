"""Drafts without contact: the skin settles from the skinned pose in one go."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plica.drafting.bare_mesh import bare_mesh
from plica.drafting.patch import patch_of
from plica.drafting.problem import DraftProblem, DraftSettings, MeasuredRegion
from plica.drafting.solve import drafted
from plica.measure.volume import Volume
from plica.mesh.arrays import Floats
from tests.support.drafts import bent_tube


def test_a_bent_tube_gets_its_volume_back_and_is_less_stretched() -> None:
    draft = drafted(bent_tube(1.6), DraftSettings(contact=False))
    assert draft.before.volume < 0.98
    assert draft.after.volume == pytest.approx(1.0, abs=0.005)
    assert draft.after.worst_stretch < 0.75 * draft.before.worst_stretch
    assert draft.after.least_singular_value > 2.0 * draft.before.least_singular_value


def test_a_pull_at_one_point_stretches_no_triangle_far() -> None:
    tube = bent_tube(0.0)
    pulled = int(np.linalg.norm(tube.neutral - (0.0, 0.04, 0.0), axis=1).argmin())
    pull = np.zeros_like(tube.neutral)
    pull[pulled, 1] = 0.08
    region = (np.abs(tube.neutral[:, 0]) < 0.1).astype(np.float64)
    problem = replace(tube, skinned=lambda share: tube.neutral + share * pull, region=region)
    draft = drafted(problem, DraftSettings(contact=False, nearness=30.0, inbetweens=0))
    assert draft.before.worst_stretch > 7.0
    assert draft.after.worst_stretch < 0.6


def test_less_volume_can_be_wished() -> None:
    draft = drafted(bent_tube(1.6), DraftSettings(contact=False, volume_kept=0.95))
    assert draft.after.volume == pytest.approx(0.95, abs=0.005)


def test_skin_outside_region_and_border_is_the_skinned_one_bit_for_bit() -> None:
    problem = bent_tube(1.6)
    draft = drafted(problem, DraftSettings(contact=False, inbetweens=1))
    assert [pose.share for pose in draft.poses] == [0.5, 1.0]
    for pose in draft.poses:
        stays = np.setdiff1d(np.arange(len(problem.neutral)), draft.moving)
        assert len(stays) > 0
        assert np.array_equal(pose.positions[stays], problem.skinned(pose.share)[stays])
        assert not np.array_equal(pose.positions, problem.skinned(pose.share))


def test_copies_of_a_point_stay_together() -> None:
    problem = bent_tube(1.6)
    count = len(problem.neutral)
    triangles = problem.triangles.copy()
    triangles[::2] += count  # every other triangle has vertices of its own
    doubled = DraftProblem(
        np.tile(problem.neutral, (2, 1)),
        triangles,
        np.tile(problem.points, 2),
        lambda share: np.tile(problem.skinned(share), (2, 1)),
        np.tile(problem.region, 2),
    )
    one, two = (drafted(each, DraftSettings(contact=False)).poses[-1].positions for each in (problem, doubled))
    assert np.array_equal(two[:count], two[count:])
    assert np.allclose(two[:count], one, atol=1e-9)


@pytest.mark.parametrize(
    "wrong",
    [
        {"volume_kept": 0.8}, {"volume_kept": float("nan")}, {"nearness": 0.0}, {"border": -1.0}, {"gap": 0.0},
        {"inbetweens": -1},
    ],
)  # fmt: skip
def test_settings_that_mean_nothing_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"is a|or more"):
        DraftSettings(**wrong)  # type: ignore[arg-type]


def test_a_region_without_triangles_is_refused() -> None:
    problem = bent_tube(1.6)
    empty = DraftProblem(
        problem.neutral, problem.triangles, problem.points, problem.skinned, np.zeros(len(problem.neutral))
    )
    with pytest.raises(ValueError, match="holds no triangle"):
        drafted(empty, DraftSettings(contact=False))


def softly(problem: DraftProblem) -> MeasuredRegion:
    """A region from before the bend to beyond where anything is drafted, with soft ends."""
    x = problem.neutral[:, 0]
    return MeasuredRegion(np.clip((x + 0.06) / 0.03, 0.0, 1.0) * np.clip((0.2 - x) / 0.05, 0.0, 1.0), None)


def test_what_is_kept_is_what_is_measured() -> None:
    """A region that an expectation measures is another than what is drafted: both cannot have their volume unless the
    draft knows. Measured as `plica prove` does."""
    bare = bent_tube(1.6)
    region = softly(bare)
    volume = Volume.prepared(bare_mesh(bare.neutral, bare.triangles), region.weights, bare.neutral, region.border)
    for kept in (1.0, 0.96):
        settings = DraftSettings(contact=False, volume_kept=kept)
        loose, held = (drafted(one, settings) for one in (bare, replace(bare, measured=(region,))))
        off, kept_off = (abs(float(volume.relative(one.poses[-1].positions[None]).values[0]) + 1.0 - kept)
                         for one in (loose, held))  # fmt: skip
        assert kept_off < 0.001 < 0.25 * off
        assert held.after.volume == pytest.approx(kept, abs=0.001)
    assert held.after.worst_stretch < 0.75 * held.before.worst_stretch


def test_several_volumes_are_kept_at_once() -> None:
    bare = bent_tube(1.6)
    x = bare.neutral[:, 0]
    halves = tuple(MeasuredRegion(side.astype(np.float64), 0.5) for side in (x <= 0.0, x > 0.0))
    draft = drafted(replace(bare, measured=halves), DraftSettings(contact=False))
    for half in halves:
        volume = Volume.prepared(bare_mesh(bare.neutral, bare.triangles), half.weights, bare.neutral, half.border)
        assert abs(float(volume.relative(draft.poses[-1].positions[None]).values[0])) < 0.002


def test_what_moving_points_change_of_a_volume_is_all_that_changes() -> None:
    """Against the measure itself, and the gradient against finite differences."""
    bare = bent_tube(1.6)
    problem = replace(bare, measured=(softly(bare),))
    patch = patch_of(problem, DraftSettings())
    assert patch is not None
    (held,) = patch.volumes
    skinned = problem.skinned(1.0)
    random = np.random.default_rng(5)

    def moved(size: float) -> tuple[Floats, Floats]:
        places = patch.local(skinned)
        places[patch.moving] += size * random.normal(size=(len(patch.moving), 3))
        return places, patch.put_back(skinned, places, problem.points)

    for _ in range(3):
        places, skin = moved(0.1)
        rest = held.of_skin(skinned) - held.of_places(patch.local(skinned))[0]
        assert held.of_skin(skin) - held.of_places(places)[0] == pytest.approx(rest, abs=1e-9)
        _, gradient = held.of_places(places)
        step = np.zeros_like(places)
        step[patch.moving] = 1e-5 * random.normal(size=(len(patch.moving), 3))
        expected = held.of_places(places + step)[0] - held.of_places(places - step)[0]
        assert 2.0 * float((gradient * step).sum()) == pytest.approx(expected, rel=1e-6)
