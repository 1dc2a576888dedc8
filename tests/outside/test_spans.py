"""Spans told by `plica measure` against what was measured on the same motion by other means."""

from __future__ import annotations

import json
from math import degrees
from pathlib import Path

import pytest

from plica.commands.main import run
from plica.rig.strengths import Driver
from plica.specs.wren.moments import story
from tests.support.data import shared_data

SPEC = """plica 1
character walker {
    skeleton {
        joint Hips at 0 m, 1 m, 0 m
        joint LeftLeg      under Hips at  10 cm, -50 cm, 0 m
        joint RightLeg     under Hips at -10 cm, -50 cm, 0 m
        joint LeftForeArm  under Hips at  50 cm,  50 cm, 0 m
        joint RightForeArm under Hips at -50 cm,  50 cm, 0 m
    }
    left  "Left*"
    right "Right*"
    symmetry across x
}
driver knee  both { reads bend of Leg       span 0 deg .. 130 deg }
driver elbow both { reads bend of ForeArm   span 0 deg .. 130 deg }
"""


# Flexion in the clips of mocap.cs.cmu.edu, both sides together, to a tenth of a degree: measured by another program
# (ORACLES.md of the shared data, "Rotations"). The first frame is the calibration pose and is left out there too.
@pytest.mark.parametrize(
    ("file", "joint", "least", "greatest"),
    [
        ("cmu_12_01_walk.bvh", "knee", 0.0, 77.1),
        ("cmu_12_01_walk.bvh", "elbow", 12.7, 40.1),
        ("cmu_01_01.bvh", "knee", 16.9, 88.3),
        ("cmu_01_01.bvh", "elbow", 6.6, 139.3),
    ],
)
def test_ranges_of_knees_and_elbows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], file: str, joint: str, least: float, greatest: float
) -> None:
    clip = shared_data("motion", file)
    (tmp_path / "walker.plica").write_text(SPEC, "utf-8")
    spec = (tmp_path / "walker.plica").as_posix()
    assert run(["measure", spec, "--clip", clip.as_posix(), "--from", "0.001", "--format", "json"]) == 0
    result = json.loads(capsys.readouterr().out)
    (span,) = [one for one in result["spans"] if one["driver"] == joint]
    assert span["unit"] == "deg"
    assert span["span"] == pytest.approx([least, greatest], abs=0.06)


# Degrees that joints of people bend at most, and the demo character's drivers that read such joints. Elbow, knee,
# wrist (flexion) and the base joints of fingers: table of the Merck Manual; knee and elbow of adults also in the CDC
# Normal Joint Range of Motion Study (Soucie and others 2011; both as ORACLES.md of the shared data has them).
TRAVEL = {"elbow_bend": 160.0, "knee_bend": 130.0, "wrist": 90.0, "index_base": 90.0, "little_base": 90.0}


def test_the_demo_asks_no_joint_for_more_than_people_can() -> None:
    """And for more than half of it, so that its spans mean a whole bend; an otter is no person, so no more is said."""
    spans = {driver.name: driver.span for driver in story().rig.strengths if isinstance(driver, Driver)}
    for name, most in TRAVEL.items():
        for side in ("left", "right"):
            start, stop = (degrees(end) for end in spans[f"{side}_{name}"])
            assert start == 0.0
            assert most / 2.0 < stop <= most
