"""Readings: laws that hold for every rig, and the edges."""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, pi, sin

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.evaluate import Evaluator, Poses, SparsePose, poses_from, rest_poses
from plica.evaluate.poses import sparse_pose
from plica.kinds.readings import Bend, Euler, Gap, Offset, Reading, Rotation, Swing
from plica.rig.rig import Character, Rig
from plica.rig.strengths import Driver
from plica.skeleton.algebra import Quaternion
from plica.skeleton.quaternions import with_positive_scalar
from plica.values import Linear
from tests.support.joints import rig_joint
from tests.support.rigs import CHANNELS, ORDERS, random_rig

X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
STRAIGHT: Quaternion = (0.0, 0.0, 0.0, 1.0)


def rig_of(readings: Sequence[Reading], rest: Quaternion = STRAIGHT) -> Rig:
    """A rig with the joint `elbow` on `root`, and one open linear driver with the span 0..1 for each reading."""
    joints = (
        rig_joint("root", None, (0.0, 1.0, 0.0), STRAIGHT, (1.0, 1.0, 1.0), "none", None, True),
        rig_joint("elbow", "root", (0.25, 0.0, 0.0), rest, (1.0, 1.0, 1.0), "none", None, True),
        rig_joint("hand", "elbow", (0.2, 0.0, 0.0), STRAIGHT, (1.0, 1.0, 1.0), "none", None, True),
    )
    drivers = [
        Driver(f"d{number}", "none", "d", reading, (0.0, 1.0), False, Linear())
        for number, reading in enumerate(readings)
    ]
    return Rig(Character("wren", "Wren", None, 1e-4), joints, strengths=tuple(drivers))


def read(readings: Sequence[Reading], rotation: Sequence[float], rest: Quaternion = STRAIGHT) -> list[float]:
    """The readings with the elbow at a local rotation."""
    rig = rig_of(readings, rest)
    pose = sparse_pose({"elbow": {"rotation": rotation}})
    values: list[float] = Evaluator(rig).readings(poses_from(rig, [pose]))[0].tolist()
    return values


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6))
def test_rest_reads_exactly_zero(seed: int) -> None:
    rig = random_rig(seed, drivers=28)
    evaluator = Evaluator(rig)
    poses = rest_poses(rig, 3)
    poses.rotations[1] *= -1.0
    assert (evaluator.readings(poses) == 0.0).all()
    assert (evaluator.strengths(poses) == 0.0).all()


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10**6), st.floats(1e-3, 1e3), st.booleans())
def test_the_length_and_sign_of_a_quaternion_do_not_matter(seed: int, size: float, turned_over: bool) -> None:
    rig = random_rig(seed, drivers=28)
    evaluator = Evaluator(rig)
    poses = rest_poses(rig, 20)
    random = np.random.default_rng(seed)
    poses.rotations[:] = random.normal(size=poses.rotations.shape)
    poses.translations[:] += random.normal(size=poses.translations.shape) * 0.02
    scaled = Poses(
        poses.joints,
        poses.rotations * (-size if turned_over else size),
        poses.translations,
        poses.control_names,
        poses.controls,
    )
    assert evaluator.readings(scaled) == pytest.approx(evaluator.readings(poses), abs=1e-10)


def test_null_quaternions_read_as_rest() -> None:
    kinds: list[Reading] = [
        Rotation("elbow", X),
        Bend("elbow"),
        Swing("elbow", X, Y),
        *(Euler("elbow", "zxy", c, STRAIGHT) for c in CHANNELS),
    ]
    assert read(kinds, [0.0, 0.0, 0.0, 0.0]) == [0.0] * 6
    assert read([Gap("hand", "root", 0.45)], [0.0, 0.0, 0.0, 0.0]) == [0.0]


def test_no_scalar_part_is_minus_zero() -> None:
    """atan2 would make half a turn of it."""
    turns = np.array([[0.0, 0.0, 1.0], [0.0] * 3, [0.0] * 3, [-0.0, -1.0, -0.0]])[:, np.newaxis]
    result = with_positive_scalar(turns.copy())
    assert not np.signbit(result[3]).any()
    assert result.tolist() == [[[0.0, 0.0, 1.0]], [[0.0] * 3], [[0.0] * 3], [[0.0, 1.0, 0.0]]]


def test_twist_runs_from_minus_pi_to_pi() -> None:
    def twist(angle: float) -> float:
        return read([Rotation("elbow", Z)], [0.0, 0.0, sin(angle / 2), cos(angle / 2)])[0]

    for angle in (-3.1, -1.0, 0.5, 3.1):
        assert twist(angle) == pytest.approx(angle, abs=1e-15)
    assert twist(pi + 0.1) == pytest.approx(0.1 - pi, abs=1e-15)
    assert read([Rotation("elbow", Z)] * 2, [0.0, 0.0, 1.0, 0.0])[0] == pi
    assert read([Rotation("elbow", Z)], [0.0, 0.0, -1.0, 0.0]) == [pi]
    assert read([Rotation("elbow", Z)], [0.0, 0.0, -1.0, -0.0]) == [pi]


def test_no_twist_where_the_swing_is_half_a_turn() -> None:
    assert read([Rotation("elbow", Z)], [1.0, 0.0, 0.0, 0.0]) == [0.0]
    assert read([Rotation("elbow", Z)], [1.0, 0.0, -0.0, -0.0]) == [0.0]
    assert read([Swing("elbow", Z, X)], [1.0, 0.0, 0.0, 0.0]) == [0.0]


def test_swing_is_free_of_twist() -> None:
    kinds = [Swing("elbow", X, Y), Swing("elbow", X, Z)]
    # A twist about the axis first, then 0.8 from x toward y.
    swing = np.array([0.0, 0.0, sin(0.4), cos(0.4)])
    twist = np.array([sin(0.3), 0.0, 0.0, cos(0.3)])
    x, y, z, w = swing
    a, b, c, d = twist
    turn = [w * a + x * d + y * c - z * b, w * b - x * c + y * d + z * a, w * c + x * b - y * a + z * d, w * d - x * a]
    assert read(kinds, turn) == pytest.approx([0.8, 0.0], abs=1e-15)


@pytest.mark.parametrize("order", ORDERS)
def test_single_turns_are_their_own_euler_angles(order: str) -> None:
    for axis, vector in zip("xyz", (X, Y, Z), strict=True):
        half = [part * sin(0.35) for part in vector]
        result = read([Euler("elbow", order, channel, STRAIGHT) for channel in CHANNELS], [*half, cos(0.35)])
        assert result == pytest.approx([0.7 if channel == axis else 0.0 for channel in "xyz"], abs=1e-15)


def test_gap_counts_only_what_lies_between() -> None:
    rig = rig_of([Gap("hand", "root", 0.45), Gap("root", "hand", 0.45), Gap("hand", "elbow", 0.2)])
    half = [0.0, 0.0, sin(pi / 4), cos(pi / 4)]
    poses = poses_from(
        rig,
        [
            SparsePose(),
            sparse_pose({"root": {"rotation": half, "translation": [5.0, 6.0, 7.0]}}),
            sparse_pose({"elbow": {"rotation": half}, "hand": {"rotation": half}}),
        ],
    )
    bent = (0.25**2 + 0.2**2) ** 0.5 - 0.45
    expected = [[0.0, 0.0, 0.0], [0.0, 0.0, 0.0], [bent, bent, 0.0]]
    assert Evaluator(rig).readings(poses) == pytest.approx(np.array(expected), abs=1e-15)


def test_gap_is_in_model_units_below_a_scaled_root() -> None:
    rig = rig_of([Gap("hand", "elbow", 0.0)])
    still = rig.skeleton[0]
    root = still._replace(neutral=still.neutral._replace(scale=(2.0, 2.0, 2.0)))
    rig = rig._replace(skeleton=(root, *rig.skeleton[1:]))
    poses = poses_from(rig, [sparse_pose({"hand": {"translation": [0.3, 0.0, 0.0]}})])
    assert Evaluator(rig).readings(poses)[0, 0] == pytest.approx(0.2, abs=1e-15)


def test_offset_gain_of_a_five_millimetre_span() -> None:
    """Common practice, no source: full at 5 mm is a gain of 200 per metre."""
    rig = rig_of([Offset("elbow", Y)])
    driver = rig.strengths[0]
    assert isinstance(driver, Driver)
    rig = rig._replace(strengths=(driver._replace(span=(0.0, 0.005)),))
    steps = [0.0, 0.001, 0.005]
    poses = poses_from(rig, [sparse_pose({"elbow": {"translation": [0.25, step, 0.0]}}) for step in steps])
    assert Evaluator(rig).strengths(poses)[:, 0].tolist() == pytest.approx([0.0, 200 * 0.001, 1.0], abs=1e-15)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_gap_of_two_roots_is_their_distance_in_metres_along_any_axis(axis: int) -> None:
    joints = tuple(
        rig_joint(name, None, place, STRAIGHT, (1.0, 1.0, 1.0), "none", None, True)
        for name, place in (("root", (0.0, 0.0, 0.0)), ("float", tuple(np.eye(3)[axis].tolist())))
    )
    driver = Driver("d", "none", "d", Gap("root", "float", 1.0), (0.0, 1.0), False, Linear())
    rig = Rig(Character("wren", "Wren", None, 1e-4), joints, strengths=(driver,))
    away = sparse_pose({"float": {"translation": (1.5 * np.eye(3)[axis]).tolist()}})
    assert Evaluator(rig).readings(poses_from(rig, [away]))[0].tolist() == pytest.approx([0.5])
