"""The evaluator as a whole: order, combinations, chunks, refusals."""

from __future__ import annotations

import numpy as np
import pytest

from plica.evaluate import Evaluator, Poses, curve_values, poses_from, rest_poses
from plica.evaluate.poses import sparse_pose
from plica.kinds.readings import Bend, ControlValue
from plica.rig.rig import Character, Rig
from plica.rig.strengths import Combination, Combine, Control, Driver, StrengthOf
from plica.values import Linear
from tests.support.rigs import random_rig


def random_poses(rig: Rig, frames: int) -> Poses:
    random = np.random.default_rng(3)
    poses = rest_poses(rig, frames)
    poses.rotations[:] += random.normal(size=poses.rotations.shape) * 0.5
    poses.translations[:] += random.normal(size=poses.translations.shape) * 0.02
    poses.controls[:] = random.uniform(-1, 1, poses.controls.shape)
    return poses


def test_frames_do_not_depend_on_each_other() -> None:
    rig = random_rig(4, drivers=60, fields=4, combines=8)
    evaluator = Evaluator(rig)
    poses = random_poses(rig, 9000)
    together = evaluator.strengths(poses)
    assert together.shape == (9000, len(rig.strengths))
    for frame in (0, 511, 4368, 8999):
        one = Poses(
            poses.joints,
            poses.rotations[frame : frame + 1],
            poses.translations[frame : frame + 1],
            poses.control_names,
            poses.controls[frame : frame + 1],
        )
        assert evaluator.strengths(one)[0] == pytest.approx(together[frame], abs=1e-12)


def test_drivers_are_curves_of_shares_of_spans() -> None:
    rig = random_rig(5, drivers=70, fields=0, combines=0)
    evaluator = Evaluator(rig)
    poses = random_poses(rig, 50)
    readings, strengths = evaluator.readings(poses), evaluator.strengths(poses)
    assert evaluator.names == evaluator.driver_names == tuple(driver.name for driver in rig.strengths)
    for column, driver in enumerate(rig.strengths):
        assert isinstance(driver, Driver)
        share = (readings[:, column] - driver.span[0]) / (driver.span[1] - driver.span[0])
        expected = curve_values(driver.curve, share, driver.clamped)
        assert strengths[:, column] == pytest.approx(expected, abs=1e-12)


def dials(values: dict[str, float], *combines: Combine) -> dict[str, float]:
    """Strengths of controls from 0 to 1 that stand at values, and of combinations of them."""
    controls = tuple(Control(name, "none", name, (0.0, 1.0), 0.0) for name in values)
    drivers = tuple(Driver(name, "none", name, ControlValue(name), (0.0, 1.0), True, Linear()) for name in values)
    rig = Rig(Character("wren", "Wren", None, 1e-4), (), controls=controls, strengths=(*drivers, *combines))
    evaluator = Evaluator(rig)
    result = evaluator.strengths(poses_from(rig, [sparse_pose({}, values)]))[0]
    return dict(zip(evaluator.names, result.tolist(), strict=True))


def test_combinations() -> None:
    a, b, c = (StrengthOf(name) for name in "abc")
    nested = Combination("sum", (Combination("product", (a, b)), Combination("least", (b, c)), StrengthOf("more")))
    result = dials(
        {"a": 0.5, "b": 0.25, "c": 0.125},
        Combine("product", "none", "", Combination("product", (a, b, c))),
        Combine("least", "none", "", Combination("least", (a, b, c))),
        Combine("more", "none", "", Combination("greatest", (a, b, c))),
        Combine("sum", "none", "", Combination("sum", (a, b, c))),
        Combine("full", "none", "", Combination("sum", (a, a, b))),
        Combine("nested", "none", "", nested),
        Combine("one", "none", "", Combination("product", (c,))),
    )
    expected = {"product": 1 / 64, "least": 0.125, "more": 0.5, "sum": 0.875, "full": 1.0, "nested": 0.75, "one": 0.125}
    assert {name: result[name] for name in expected} == expected


def test_a_rig_without_strengths() -> None:
    rig = random_rig(1, drivers=0, fields=0, combines=0)
    assert Evaluator(rig).strengths(rest_poses(rig, 5)).shape == (5, 0)
    assert Evaluator(rig).readings(rest_poses(rig, 5)).shape == (5, 0)
    assert Evaluator(random_rig(1)).strengths(rest_poses(random_rig(1), 0)).shape[0] == 0


def test_wrong_references_are_refused() -> None:
    rig = random_rig(1, fields=1, combines=0)
    lost = Driver("lost", "none", "lost", Bend("tail"), (0.0, 1.0), True, Linear())
    with pytest.raises(ValueError, match="no joint tail"):
        Evaluator(rig._replace(strengths=(lost,)))
    with pytest.raises(ValueError, match="no tail"):
        Evaluator(rig._replace(strengths=(lost._replace(reading=ControlValue("tail")),)))
    with pytest.raises(ValueError, match="span of lost is empty"):
        Evaluator(rig._replace(strengths=(lost._replace(reading=Bend("left_0"), span=(1.0, 1.0)),)))
    combine = Combine("early", "none", "early", Combination("sum", (StrengthOf(rig.strengths[0].name),)))
    with pytest.raises(ValueError, match="stands before"):
        Evaluator(rig._replace(strengths=(combine, *rig.strengths)))
    unknown = Combine("early", "none", "early", Combination("sum", (StrengthOf("tail"),)))
    with pytest.raises(ValueError, match="no tail"):
        Evaluator(rig._replace(strengths=(unknown,)))
