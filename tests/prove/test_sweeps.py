"""Poses to measure over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import rest_scales
from plica.prove.pose_rows import finer
from plica.prove.sweeps import SPREAD, STEPS, PoseTrack, Sweeper
from plica.prove.worst_frames import angles_since_rest
from plica.rig.rig import Expectation
from plica.rig.strengths import Driver
from tests.support.mirroring import mirrored_poses
from tests.support.rigs import random_rig
from tests.support.texts import rig_of

TEXT = """
driver elbow both { reads rotation about z of lowerarm   span 10 deg .. 130 deg }
driver twist both { reads rotation about x of lowerarm   span 0 deg .. -60 deg }
driver nod { reads bend of head   span 0 deg .. 40 deg }
driver near both { reads gap of paw from head   span 0 mm .. -50 mm }
control dial { range 0 .. 1   rest 0 }
driver dialled { reads control dial   span 0 .. 1 }
combine all both = product(elbow, nod)
field lift both {
    reads rotation of upperarm
    sample up at about z in model 70 deg
    sample front at about y in model 50 deg
}
"""


def column(rig_names: tuple[str, ...], name: str) -> int:
    return rig_names.index(name)


@pytest.mark.parametrize(
    "name", ["left_elbow", "right_twist", "nod", "dialled", "left_all", "right_lift_up", "right_near"]
)
def test_a_sweep_takes_its_strength_from_off_to_on(name: str) -> None:
    rig = rig_of(TEXT)
    evaluator = Evaluator(rig)
    track = Sweeper(rig).sweep(name)
    strengths = evaluator.strengths(track.poses)[:, evaluator.names.index(name)]
    assert track.poses.frames == STEPS
    # A start away from rest is posed about an axis of a rig, which has 11 digits; one at rest is exactly off.
    assert abs(strengths[0]) <= (0.0 if name != "right_twist" else 1e-15)
    assert strengths[-1] == pytest.approx(1.0, abs=1e-9)
    assert np.all(np.diff(strengths) >= -1e-9)


def test_a_sweep_starts_at_rest() -> None:
    rig = rig_of(TEXT)
    poses = Sweeper(rig).sweep("left_elbow").poses
    assert angles_since_rest(rig, poses.joints, poses.rotations[0]).max() < 1e-7


def test_drivers_of_one_joint_make_pairs_and_others_do_not() -> None:
    rig = rig_of(TEXT)
    names = [track.name for track in Sweeper(rig).everything()]
    pairs = {name for name in names if " and " in name}
    assert pairs == {
        f"{side}_{pair}" for side, pair in (("left", "elbow and left_twist"), ("right", "elbow and right_twist"))
    }


def test_measures_of_the_skin_are_not_taken_where_a_gap_tears_it() -> None:
    rig = rig_of(TEXT)
    sweeper = Sweeper(rig)
    of_skin = {track.name for track in sweeper.everything(skin=True)}
    assert {"left_near", "right_near"}.isdisjoint(of_skin)
    assert {"left_near", "right_near"} <= {track.name for track in sweeper.everything()}


def test_the_spread_covers_the_whole_range_evenly() -> None:
    rig = rig_of(TEXT)
    evaluator = Evaluator(rig)
    track = next(track for track in Sweeper(rig).everything(skin=True) if track.kind == "spread")
    assert track.poses.frames == SPREAD
    readings = evaluator.readings(track.poses)
    drivers = [strength for strength in rig.strengths if isinstance(strength, Driver)]
    nod = readings[:, [driver.name for driver in drivers].index("nod")]
    counts, _ = np.histogram(nod, 8, (0.0, np.radians(40.0)))
    # A low-discrepancy sequence: each eighth holds an eighth of the poses, give or take two
    assert np.abs(counts - SPREAD / 8).max() <= 2


def test_poses_are_the_same_every_time() -> None:
    rig = rig_of(TEXT)
    one, other = Sweeper(rig).everything(), Sweeper(rig).everything()
    for first, second in zip(one, other, strict=True):
        assert first.name == second.name
        assert np.array_equal(first.poses.rotations, second.poses.rotations)
        assert np.array_equal(first.poses.translations, second.poses.translations)


def test_over_lists_what_is_swept_and_nothing_means_everything() -> None:
    rig = rig_of(TEXT)
    sweeper = Sweeper(rig)
    listed = Expectation("volume", "left", ("left_forearm",), over=("left_elbow", "left_twist"))
    assert [track.name for track in sweeper.tracks(listed)] == [
        "rest",
        "left_elbow",
        "left_twist",
        "left_elbow and left_twist",
    ]
    nothing = sweeper.tracks(listed._replace(over=()))
    assert "everything at once" in [track.name for track in nothing]
    own = sweeper.tracks(Expectation("reach", "left", ("left_elbow",)))
    assert [track.name for track in own] == ["rest", "left_elbow"]


def test_mirrored_poses_are_those_of_an_independent_mirror() -> None:
    """Against the mirror of tests/support, which goes through model space matrices. Axes of this rig's partners stand
    askew to each other's mirrored ones, so that only scales alike along all axes have a mirror image."""
    rig = random_rig(5, drivers=14)
    sweeper = Sweeper(rig)
    poses = sweeper.spread([strength.name for strength in rig.strengths], 8).poses
    alike = np.random.default_rng(6).uniform(0.8, 1.25, (poses.frames, len(poses.joints), 1))
    poses = replace(poses, scales=rest_scales(rig, poses.frames) * alike)
    mirrored = sweeper.mirrored(poses)
    assert mirrored is not None
    expected = mirrored_poses(rig, poses)
    np.testing.assert_allclose(Evaluator(rig).strengths(mirrored), Evaluator(rig).strengths(expected), atol=1e-7)


def test_a_closer_look_lies_between_the_neighbours_and_repeats_nothing() -> None:
    places = np.linspace(0.0, 1.0, 11)
    result = finer(places, 10)
    assert result.min() > 0.9 and result.max() < 1.0
    assert not set(result.tolist()) & set(places.tolist())
    middle = finer(places, 5)
    assert middle.min() > 0.4 and middle.max() < 0.6


def test_pairs_go_to_and_fro() -> None:
    """Each pose of the grid differs from the one before in one of the two strengths alone."""
    rig = rig_of(TEXT)
    track = next(track for track in Sweeper(rig).everything() if track.name == "left_elbow and left_twist")
    names = Evaluator(rig).driver_names
    readings = Evaluator(rig).readings(track.poses)[:, [names.index("left_elbow"), names.index("left_twist")]]
    steps = np.abs(np.diff(readings, axis=0)) > 1e-9
    assert track.poses.frames == 25 and (steps.sum(axis=1) == 1).all()
    assert len(np.unique(readings.round(9), axis=0)) == 25


def test_mirrored_clips_are_looked_at_between_their_frames_as_the_clip_is() -> None:
    rig = rig_of(TEXT)
    made = Sweeper(rig).sweep("left_elbow")
    clip = PoseTrack("clip lift", "clip", made.places, made.poses, made.between)
    still = PoseTrack("clip still", "clip", made.places, made.poses)
    tracks = {track.name: track for track in Sweeper(rig, extra=(clip, still)).everything(skin=True)}
    mirrored = tracks["clip lift, mirrored"]
    assert mirrored.between is not None and tracks["clip still, mirrored"].between is None
    result = Evaluator(rig).strengths(mirrored.between(np.array([0.3, 0.7])))
    assert made.between is not None
    there = Evaluator(rig).strengths(made.between(np.array([0.3, 0.7])))
    names = Evaluator(rig).names
    np.testing.assert_allclose(result[:, names.index("right_elbow")], there[:, names.index("left_elbow")], atol=1e-9)


def test_many_frames_are_mirrored_like_few() -> None:
    rig = random_rig(5, drivers=14)
    sweeper = Sweeper(rig)
    poses = sweeper.spread([strength.name for strength in rig.strengths], 600).poses
    whole, part = sweeper.mirrored(poses), sweeper.mirrored(poses[250:300])
    assert whole is not None and part is not None
    assert np.array_equal(whole.rotations[250:300], part.rotations)
    assert np.array_equal(whole.translations[250:300], part.translations)
    assert np.array_equal(whole.controls[250:300], part.controls)
