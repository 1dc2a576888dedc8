"""Test vectors: enough of them, reaching what they must, repeatable, and never on an edge."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import Final, Literal

import numpy as np
import pytest

from plica.evaluate import Evaluator, SparsePose, poses_from
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.pose_mirror import PoseMirror
from plica.evaluate.poses import JointPlacement
from plica.evaluate.vectors import FEWEST, vectors
from plica.kinds.readings import Euler, Rotation
from plica.rig.rig import Character, Rig, Symmetry
from plica.rig.strengths import Driver
from plica.skeleton.planes import Plane
from plica.values import Hermite, Linear, Points, Side
from tests.support.data import ROOT
from tests.support.joints import rig_joint
from tests.support.mirroring import mirrored_poses
from tests.support.rigs import random_rig

SIDES: Final[tuple[Side, Side]] = ("left", "right")


@pytest.fixture(scope="module")
def rig() -> Rig:
    return random_rig(6, drivers=63, fields=4, combines=4)


def test_rest_comes_first_and_is_zero(rig: Rig) -> None:
    first = vectors(rig)[0]
    assert first.pose == SparsePose()
    assert list(first.strengths) == [strength.name for strength in rig.strengths]
    assert set(first.strengths.values()) == {0.0}


@pytest.mark.parametrize("drivers", [0, 1, 63])
def test_enough_of_them(drivers: int) -> None:
    result = vectors(random_rig(6, drivers=drivers, fields=0, combines=0))
    assert len(result) >= FEWEST
    assert len(result) <= FEWEST + 8 * drivers


def test_text_says_exactly_the_same(rig: Rig) -> None:
    """Every number has 15 significant digits, so its text at that length reads back as the same number."""
    result = vectors(rig)
    for example in result:
        numbers = [*example.pose.controls.values()]
        for placement in example.pose.joints.values():
            numbers += [*(placement.rotation or ()), *(placement.translation or ())]
        assert all(float(f"{number:.15g}") == number for number in numbers)
    assert json.dumps([asdict(example) for example in result]) == json.dumps([asdict(e) for e in vectors(rig)])


def points_of(curve: Hermite | Points) -> Sequence[tuple[float, ...]]:
    return curve.knots if isinstance(curve, Hermite) else curve.points


def test_hash_seeds_do_not_matter() -> None:
    program = (
        "from hashlib import sha256; from plica.evaluate.vectors import vectors;"
        "from tests.support.rigs import random_rig;"
        "print(sha256(repr(vectors(random_rig(6))).encode()).hexdigest())"
    )
    result = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
            check=True,
            capture_output=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(result) == 1


def test_every_end_and_knot_is_reached(rig: Rig) -> None:
    result = vectors(rig)
    readings = Evaluator(rig).readings(poses_from(rig, [example.pose for example in result]))
    drivers = [driver for driver in rig.strengths if isinstance(driver, Driver)]
    for column, driver in enumerate(drivers):
        if isinstance(driver.reading, Euler) and driver.reading.order[1] == driver.reading.channel:
            continue  # a middle angle ends at 90 degrees, short of what the random span may ask for
        start, end = driver.span
        knots = [0.0, 1.0]
        if isinstance(driver.curve, Hermite | Points):
            knots = [knot[0] for knot in points_of(driver.curve)]
        for knot in knots:
            gap = np.abs(readings[:, column] - (start + knot * (end - start))).min()
            # Where the exact place is on an edge, one a little further inside takes its place.
            assert gap <= 0.02 * abs(end - start), (driver.name, knot)
        shares = (readings[:, column] - start) / (end - start)
        if driver.reading.kind != "bend":
            assert shares.min() <= -0.2
        assert shares.max() >= 1.2


def test_field_samples_are_reached(rig: Rig) -> None:
    result = vectors(rig)
    for field in rig.fields:
        for sample in field.samples[1:]:
            assert 1.0 in {example.strengths[f"{field.name}_{sample.name}"] for example in result}


def test_no_pose_is_on_an_edge(rig: Rig) -> None:
    result = vectors(rig)
    poses = poses_from(rig, [example.pose for example in result])
    evaluator = Evaluator(rig)
    expected = np.array([list(example.strengths.values()) for example in result])
    assert evaluator.strengths(poses) == pytest.approx(expected, abs=1e-11)
    random = np.random.default_rng(1)
    poses.rotations[:] += random.uniform(-1e-14, 1e-14, poses.rotations.shape)
    assert evaluator.strengths(poses) == pytest.approx(expected, abs=1e-9)


def test_an_end_on_an_edge_is_left_out(rig: Rig) -> None:
    """At half a turn the twist jumps from pi to -pi, and the strength from 1 to 0."""
    driver = Driver("turn", "none", "turn", Rotation("middle_1", (1.0, 0.0, 0.0)), (0.0, np.pi), True, Linear())
    alone = rig._replace(fields=(), strengths=(driver,))
    result = vectors(alone)
    readings = Evaluator(alone).readings(poses_from(alone, [example.pose for example in result]))[:, 0]
    assert 0.98 * np.pi < np.abs(readings).max() < np.pi - 1e-6


def evenly_scaled(pose: SparsePose) -> SparsePose:
    """The pose with joints scaled alike along all axes: partners that share no axes can mirror no other scales."""
    joints = {
        name: replace(placement, scale=(placement.scale[0],) * 3) if placement.scale is not None else placement
        for name, placement in pose.joints.items()
    }
    return SparsePose(joints, pose.controls)


def test_mirrored_poses_are_mirrored_through_model_space(rig: Rig) -> None:
    """The compiler's mirror against full forward kinematics on a skeleton whose partners share no axes."""
    assert rig.symmetry is not None
    sparse = [evenly_scaled(example.pose) for example in vectors(rig)]
    mirror = PoseMirror(rig, skeleton_of(rig), rig.symmetry)
    result = poses_from(rig, [mirror.pose(pose) for pose in sparse])
    expected = mirrored_poses(rig, poses_from(rig, sparse))
    signs = np.sign((result.rotations * expected.rotations).sum(axis=-1, keepdims=True))
    assert result.rotations == pytest.approx(
        expected.rotations * signs * np.linalg.norm(result.rotations, axis=-1, keepdims=True), abs=1e-9
    )
    assert result.translations == pytest.approx(expected.translations, abs=1e-9)
    assert result.scales == pytest.approx(expected.scales, abs=1e-9)
    assert np.ptp(expected.scales) > 0.5
    assert (result.controls == expected.controls).all()


def test_mirroring_twice_changes_nothing(rig: Rig) -> None:
    poses = poses_from(rig, [evenly_scaled(example.pose) for example in vectors(rig)])
    twice = mirrored_poses(rig, mirrored_poses(rig, poses))
    assert Evaluator(rig).readings(twice) == pytest.approx(Evaluator(rig).readings(poses), abs=1e-9)


def test_a_plane_off_the_origin_mirrors_alike(rig: Rig) -> None:
    """Only rotations and steps since rest are mirrored, so where the plane lies does not matter."""
    shifted = rig._replace(symmetry=Symmetry.of(Plane.across("x", 0.7), False))
    assert vectors(shifted) == vectors(rig)


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_a_pose_is_mirrored_across_any_axis(axis: Literal["x", "y", "z"]) -> None:
    """Of joints whose rest axes are those of space: a turn's axis is a pseudovector, a translation a vector."""
    reflection = np.where(np.array(["x", "y", "z"]) == axis, -1.0, 1.0)
    one, straight = np.array([1.0, 2.0, 3.0]), (0.0, 0.0, 0.0, 1.0)
    places = {"one": one, "other": one * reflection}
    joints = tuple(
        rig_joint(name, None, tuple(place.tolist()), straight, (1.0, 1.0, 1.0), side, partner)
        for (name, place), side, partner in zip(places.items(), SIDES, ("other", "one"), strict=True)
    )
    symmetry = Symmetry.of(Plane.across(axis, 0.0), False)
    rig = Rig(Character("wren", "Wren", None, 1e-4), joints, symmetry=symmetry)
    turn = np.array([0.1, 0.2, 0.3])
    placement = JointPlacement((*turn.tolist(), float(np.sqrt(1.0 - turn @ turn))), (2.0, 4.0, 6.0), (1.5, 2.0, 3.0))
    mirrored = PoseMirror(rig, skeleton_of(rig), symmetry).pose(SparsePose({"one": placement})).joints["other"]
    assert mirrored.rotation is not None and mirrored.translation is not None and mirrored.scale is not None
    assert mirrored.rotation[:3] == pytest.approx((-turn * reflection).tolist())
    assert mirrored.translation == pytest.approx((np.array([2.0, 4.0, 6.0]) * reflection).tolist())
    assert mirrored.scale == pytest.approx((1.5, 2.0, 3.0))
