"""Which of the two rests an expectation is about: the neutral stance, or the pose in which the model's file rests."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy.spatial.transform import Rotation

import plica
from plica.commands.main import run
from plica.prove.results import Result
from tests.support.stances import about, model

WALKING = {"arm_lf": about("z", -70), "arm_rt": about("z", 20), "hand_rt": about("y", 40)}
TEXT = """plica 1
character body {{ geometry "body.gltf" left "*_lf" right "*_rt" {stance} }}
driver bent both {{ reads bend of hand   span 0 deg .. 80 deg }}
expect {{ {expected} }}
"""


def spec(folder: Path, expected: str = "rest   file rest", stance: str = "") -> Path:
    path = folder / "body.plica"
    path.write_text(TEXT.format(stance=stance, expected=expected), "utf-8")
    return path


def proven(folder: Path, stance: str = "") -> dict[str, Result]:
    report = plica.prove_expectations(plica.compile_file(spec(folder, stance=stance)), cache=False, workers=1)
    return {result.expectation.kind: result for result in report.results}


def test_a_file_that_rests_in_a_pose_is_told_from_its_stance(tmp_path: Path) -> None:
    model(tmp_path / "body.gltf", rest=WALKING)
    result = proven(tmp_path)
    assert result["rest"].status == "holds" and result["rest"].worst == 0.0
    assert result["rest"].about == "in the bind pose, which is the neutral stance"
    assert result["file_rest"].status == "fails"
    # The right hand rests turned by 40 degrees since it was bound, half of the span.
    assert result["file_rest"].worst == pytest.approx(0.5, abs=1e-6)
    assert result["file_rest"].about == "right_bent"
    frame = result["file_rest"].frame
    assert frame is not None and frame.track == "the file's rest"
    assert dict(frame.angles)["hand_rt"] == pytest.approx(0.698, abs=1e-3)


@pytest.mark.parametrize(("rest", "stance"), [({}, ""), (WALKING, "stance rest pose")])
def test_where_both_are_one_pose_both_hold(rest: dict[str, Rotation], stance: str, tmp_path: Path) -> None:
    model(tmp_path / "body.gltf", rest=rest)
    result = proven(tmp_path, stance)
    assert {one.status for one in result.values()} == {"holds"}
    assert result["rest"].about == ""


def test_the_rounding_of_bind_poses_is_no_strength(tmp_path: Path) -> None:
    """The arm rests turned, so the bind pose is the stance; the hands differ from it by single precision alone."""
    model(tmp_path / "body.gltf", rest={"arm_lf": about("z", -70), "arm_rt": about("y", 31)})
    result = proven(tmp_path)
    assert result["rest"].about and result["file_rest"].status == "holds"
    assert result["file_rest"].worst is not None and result["file_rest"].worst < 1e-5


def test_without_a_file_nothing_is_known_of_its_rest() -> None:
    text = """plica 1
    character stick { skeleton { joint hips at 0 m, 1 m, 0 m } }
    driver lean { reads bend of hips   span 0 deg .. 30 deg }
    expect { rest   file rest }
    """
    report = plica.prove_expectations(plica.compile_text(text))
    told = {result.expectation.kind: result for result in report.results}
    assert (told["rest"].status, told["file_rest"].status) == ("holds", "not measured")
    assert not report.holds and "no model" in told["file_rest"].about


def test_the_command_says_which_rest(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    model(tmp_path / "body.gltf", rest=WALKING)
    assert run(["prove", str(spec(tmp_path))]) == 1
    shown = capsys.readouterr().out
    lines = {" ".join(line.split()[:3]) for line in shown.splitlines()}
    assert "FAILS file rest" in lines and any(line.startswith("holds rest") for line in lines)
    assert "the file's rest" in shown
