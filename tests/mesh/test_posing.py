"""Poses that sculpts were made in."""

from __future__ import annotations

from math import pi, radians
from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation as Turn

from plica.diagnostics.catalogue import rule
from plica.evaluate import Evaluator, rest_poses
from plica.kinds.readings import Bend, ControlValue, Gap, Offset, Reading, Rotation, Swing
from plica.mesh.pose_solver import PoseProblem, PoseSolver, SculptPose
from plica.rig.rig import Rig
from plica.rig.strengths import Combination, Combine, Control, Driver, StrengthOf
from plica.rig.surfaces import JointPose, StrengthPose
from plica.values import LINEAR, Curve, Points
from tests.support.rigs import CURVES, random_rig

How = Literal["product", "least", "greatest", "sum"]
JOINT = "left_1"
X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def driver(
    name: str, reading: Reading, span: tuple[float, float], curve: Curve = LINEAR, clamped: bool = True
) -> Driver:
    """A driver of one side."""
    return Driver(name, "none", name, reading, span, clamped, curve)


def rig_with(*strengths: Driver | Combine) -> Rig:
    """A rig with these strengths."""
    return random_rig(1)._replace(strengths=strengths)


def all_of(name: str, how: How, *parts: str) -> Combine:
    """A combination of strengths."""
    return Combine(name, "none", name, Combination(how, tuple(StrengthOf(part) for part in parts)))


def strengths_in(rig: Rig, pose: SculptPose) -> dict[str, float]:
    """All strengths in a pose."""
    evaluator = Evaluator(rig)
    return dict(zip(evaluator.names, evaluator.strengths(pose.poses)[0].tolist(), strict=True))


def filled(problems: tuple[PoseProblem, ...]) -> list[str]:
    """The problems' messages; fails where a text stays open."""
    return [rule(problem.rule).message.format_map(problem.values) for problem in problems]


READINGS: tuple[tuple[Reading, tuple[float, float]], ...] = (
    (Rotation(JOINT, X), (0.0, 2.2)),
    (Rotation(JOINT, Z), (-0.2, -1.5)),
    (Bend(JOINT), (0.1, 2.0)),
    (Swing(JOINT, Y, Z), (0.0, 1.4)),
    (Offset(JOINT, (0.3, 0.4, 0.0)), (0.0, 0.02)),
    (Gap(JOINT, "right_1", 0.0), (0.0, 0.05)),
    (ControlValue("left_dial"), (0.0, 0.5)),
)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(READINGS), st.sampled_from(CURVES), st.floats(0.0, 1.0))
def test_a_driver_has_its_amount(read: tuple[Reading, tuple[float, float]], curve: Curve, amount: float) -> None:
    rig = rig_with(driver("elbow", read[0], read[1], curve))
    result = PoseSolver(rig).pose((StrengthPose("elbow", amount),))
    assert result.problems == ()
    assert strengths_in(rig, result)["elbow"] == pytest.approx(amount, abs=1e-9)


def test_a_turned_joint_is_turned_about_its_rest_axes() -> None:
    rig = rig_with()
    items = (JointPose(JOINT, X, 0.5), JointPose(JOINT, Z, -0.3), JointPose("middle_1", Y, 1.0))
    result = PoseSolver(rig).pose(items).poses
    names = {name: row for row, name in enumerate(result.joints)}
    rest = Turn.from_quat(rest_poses(rig).rotations[0])
    posed = Turn.from_quat(result.rotations[0])
    # fixed axes, the first turn first: extrinsic angles of scipy.spatial.transform.Rotation
    expected = Turn.from_euler("xz", [0.5, -0.3])
    assert ((rest[names[JOINT]].inv() * posed[names[JOINT]]) * expected.inv()).magnitude() < 1e-12
    assert (rest[names["middle_1"]].inv() * posed[names["middle_1"]]).magnitude() == pytest.approx(1.0)
    others = [row for name, row in names.items() if name not in (JOINT, "middle_1")]
    np.testing.assert_array_equal(result.rotations[0, others], rest_poses(rig).rotations[0, others])


def test_nothing_said_is_the_rest_pose() -> None:
    rig = random_rig(1)
    result = PoseSolver(rig).pose(())
    np.testing.assert_array_equal(result.poses.rotations, rest_poses(rig).rotations)
    np.testing.assert_array_equal(result.poses.controls, rest_poses(rig).controls)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_drivers_of_one_joint_compose(first: float, second: float, third: float) -> None:
    """Turned one after the other, the three would disturb each other's readings."""
    rig = rig_with(
        driver("twist", Rotation(JOINT, X), (0.0, 1.0)),
        driver("raise", Rotation(JOINT, Y), (0.0, 1.1)),
        driver("swing", Rotation(JOINT, Z), (0.0, -0.9)),
    )
    wanted = {"twist": first, "raise": second, "swing": third}
    result = PoseSolver(rig).pose([StrengthPose(name, amount) for name, amount in wanted.items()])
    assert result.problems == ()
    assert strengths_in(rig, result) == pytest.approx(wanted, abs=1e-6)


def test_a_driver_is_brought_to_its_amount_beside_a_turn_of_the_same_joint() -> None:
    rig = rig_with(driver("elbow", Rotation(JOINT, X), (0.0, 2.0)))
    result = PoseSolver(rig).pose((JointPose(JOINT, (0.6, 0.8, 0.0), 0.7), StrengthPose("elbow", 0.75)))
    assert result.problems == ()
    assert strengths_in(rig, result)["elbow"] == pytest.approx(0.75, abs=1e-9)


def test_controls_and_moves_compose() -> None:
    rig = rig_with(
        driver("slide", Offset(JOINT, X), (0.0, 0.01)),
        driver("lift", Offset(JOINT, Y), (0.0, 0.02)),
        driver("dial", ControlValue("left_dial"), (0.0, 0.5)),
    )
    result = PoseSolver(rig).pose([StrengthPose("slide", 1.0), StrengthPose("lift", 0.5), StrengthPose("dial", 0.25)])
    assert result.problems == ()
    assert strengths_in(rig, result) == pytest.approx({"slide": 1.0, "lift": 0.5, "dial": 0.25}, abs=1e-9)


@pytest.mark.parametrize("how", ["product", "least"])
def test_a_whole_product_or_least_is_all_parts_at_one(how: How) -> None:
    rig = rig_with(
        driver("base", Rotation(JOINT, X), (0.0, 1.4)),
        driver("tip", Bend("right_2"), (0.0, 1.0)),
        all_of("curl", how, "base", "tip"),
        all_of("fist", "product", "curl", "tip"),
    )
    result = PoseSolver(rig).pose((StrengthPose("fist", 1.0),))
    assert result.problems == ()
    assert strengths_in(rig, result) == pytest.approx({"base": 1.0, "tip": 1.0, "curl": 1.0, "fist": 1.0}, abs=1e-9)


def test_a_sample_at_one_is_its_own_pose() -> None:
    rig = random_rig(1)
    name = "field_0_pose_2"
    result = PoseSolver(rig).pose((StrengthPose(name, 1.0),))
    assert result.problems == ()
    assert strengths_in(rig, result)[name] == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(("how", "amount"), [("product", 0.5), ("least", 0.5), ("greatest", 1.0), ("sum", 1.0)])
def test_other_combinations_cannot_be_posed(how: How, amount: float) -> None:
    rig = rig_with(
        driver("base", Rotation(JOINT, X), (0.0, 1.4)),
        driver("tip", Bend("right_2"), (0.0, 1.0)),
        all_of("fist", how, "base", "tip"),
    )
    result = PoseSolver(rig).pose((StrengthPose("fist", amount), JointPose("right_1", X, 0.1)))
    assert [problem.rule for problem in result.problems] == ["strength-not-posable"]
    assert "fist" in filled(result.problems)[0]
    assert (result.poses.rotations != rest_poses(rig).rotations).any(axis=2).sum() == 1


def test_a_sample_at_another_amount_cannot_be_posed() -> None:
    result = PoseSolver(random_rig(1)).pose((StrengthPose("field_0_pose_1", 0.5),))
    assert [problem.rule for problem in result.problems] == ["strength-not-posable"]
    assert "field" in filled(result.problems)[0]


@pytest.mark.parametrize(
    ("reading", "span", "curve", "amount"),
    [
        (Rotation(JOINT, X), (0.0, 1.0), LINEAR, 1.2),
        (Rotation(JOINT, X), (0.0, 1.0), Points(((0.0, 0.0), (1.0, 0.5))), 0.75),
        # no joint bends by a negative angle or by more than half a turn, and no distance is negative
        (Bend(JOINT), (0.0, -1.0), LINEAR, 0.5),
        (Rotation(JOINT, X), (0.0, 2 * pi), LINEAR, 0.75),
        (Gap(JOINT, "right_1", 0.0), (0.0, -90.0), LINEAR, 1.0),
        (Offset(JOINT, (0.0, 0.0, 0.0)), (0.0, 1.0), LINEAR, 0.5),
    ],
)
def test_amounts_that_no_pose_gives(reading: Reading, span: tuple[float, float], curve: Curve, amount: float) -> None:
    rig = rig_with(driver("elbow", reading, span, curve))
    result = PoseSolver(rig).pose((StrengthPose("elbow", amount),))
    assert [problem.rule for problem in result.problems] == ["amount-not-reached"]
    assert "elbow" in filled(result.problems)[0]


def test_amounts_beyond_one_of_open_drivers() -> None:
    rig = rig_with(driver("elbow", Rotation(JOINT, X), (0.0, 1.0), clamped=False))
    result = PoseSolver(rig).pose((StrengthPose("elbow", 1.5),))
    assert result.problems == ()
    assert strengths_in(rig, result)["elbow"] == pytest.approx(1.5, abs=1e-9)


def test_amounts_that_contradict_each_other() -> None:
    rig = rig_with(
        driver("half", Rotation(JOINT, X), (0.0, 1.0)),
        driver("whole", Rotation(JOINT, X), (0.0, 2.0)),
    )
    result = PoseSolver(rig).pose((StrengthPose("half", 0.75), StrengthPose("whole", 0.2)))
    assert {problem.rule for problem in result.problems} == {"pose-contradicts-itself"}
    assert filled(result.problems)


@pytest.mark.parametrize(("half", "whole", "angle"), [(1.0, 1.0, 2.0), (1.0, 0.5, 1.0), (0.4, 0.2, 0.4)])
def test_two_drivers_of_one_reading_share_a_pose(half: float, whole: float, angle: float) -> None:
    rig = rig_with(
        driver("half", Rotation(JOINT, X), (0.0, 1.0)),
        driver("whole", Rotation(JOINT, X), (0.0, 2.0)),
    )
    items = (StrengthPose("half", half), StrengthPose("whole", whole))
    for order in (items, items[::-1]):
        result = PoseSolver(rig).pose(order)
        assert result.problems == ()
        assert Evaluator(rig).readings(result.poses)[0] == pytest.approx([angle, angle], abs=1e-9)


def test_poses_are_the_same_every_time() -> None:
    solver = PoseSolver(rig_with(driver("elbow", Swing(JOINT, Y, Z), (0.0, radians(70)))))
    items = (StrengthPose("elbow", 0.6), JointPose(JOINT, X, 0.3))
    first, second = solver.pose(items).poses, solver.pose(items).poses
    assert first.rotations.tobytes() == second.rotations.tobytes()


def test_unknown_names_are_refused() -> None:
    rig = random_rig(1)
    with pytest.raises(ValueError, match="no joint tail"):
        PoseSolver(rig).pose((JointPose("tail", X, 0.1),))
    with pytest.raises(ValueError, match="no strength wag"):
        PoseSolver(rig).pose((StrengthPose("wag", 1.0),))


def test_controls_of_two_drivers_add_up() -> None:
    """A control that rests away from 0 counts from its rest value."""
    rig = random_rig(1)
    assert isinstance(rig.controls[0], Control)
    rig = rig._replace(strengths=(driver("dial", ControlValue(rig.controls[0].name), (0.0, 0.5)),))
    result = PoseSolver(rig).pose((StrengthPose("dial", 1.0),))
    assert result.poses.controls[0, 0] == pytest.approx(rig.controls[0].rest + 0.5)
