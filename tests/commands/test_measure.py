"""`plica measure`."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from plica.commands.main import run

HEAD = """plica 1
character stroller {
    skeleton {
        joint Hips at 0 m, 1 m, 0 m
        joint LeftLeg under Hips at 0 m, -50 cm, 0 m
    }
}
"""
# A BVH of four frames, 0.5 s apart: the leg turns about x by 0, 30, 60 and 90 degrees.
CLIP = """HIERARCHY
ROOT Hips
{
  OFFSET 0 0 0
  CHANNELS 3 Xrotation Yrotation Zrotation
  JOINT LeftLeg
  {
    OFFSET 0 -1 0
    CHANNELS 3 Xrotation Yrotation Zrotation
    End Site
    {
      OFFSET 0 -1 0
    }
  }
}
MOTION
Frames: 4
Frame Time: 0.5
0 0 0 0 0 0
0 0 0 30 0 0
0 0 0 60 0 0
0 0 0 90 0 0
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The current folder, with a clip in it."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "kick.bvh").write_text(CLIP, "utf-8")
    return tmp_path


def write(folder: Path, declarations: str) -> None:
    (folder / "stroller.plica").write_text(HEAD + declarations, "utf-8")


def measured(capsys: pytest.CaptureFixture[str], *more: str) -> dict[str, object]:
    assert run(["measure", "stroller.plica", "--clip", "kick.bvh", "--format", "json", *more]) == 0
    result = json.loads(capsys.readouterr().out)
    assert (result["format"], result["version"]) == ("plica-travels", 1)
    assert isinstance(result, dict)
    return result


def test_a_span_to_paste_in_the_units_of_the_spec(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(folder, "driver kick { reads rotation about x of LeftLeg   span 0 rad .. 1.5 rad }\n")
    assert run(["measure", "stroller.plica", "--clip", "kick.bvh"]) == 0
    shown = capsys.readouterr()
    assert "span   0 rad .. 1.5708 rad   // kick" in shown.out
    assert "PL931 span-exceeded: `kick` goes on to 1.5708 rad" in shown.err


def test_figures_of_a_clip_that_is_known(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(folder, "driver kick { reads rotation about x of LeftLeg   span 0 deg .. 90 deg }\n")
    (driver,) = measured(capsys)["drivers"]  # type: ignore[misc]
    assert driver["least"]["value"] == pytest.approx(0.0, abs=1e-12)
    assert driver["greatest"]["value"] == pytest.approx(90.0)
    assert driver["greatest"]["seconds"] == 1.5
    assert driver["reached"] == pytest.approx(1.0)
    # The ends stand for a quarter of a second each, the frames between for half a second
    assert driver["greatest"]["secondsNear"] == 0.25
    assert driver["percentiles"]["5"] == pytest.approx(0.0, abs=1e-12)
    assert driver["percentiles"]["50"] == pytest.approx(30.0)
    assert driver["percentiles"]["75"] == pytest.approx(60.0)


def test_a_span_that_goes_the_other_way_starts_at_rest(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(folder, "driver kick { reads rotation about -x of LeftLeg   span 0 deg .. -100 deg }\n")
    (span,) = measured(capsys)["spans"]  # type: ignore[misc]
    assert span["line"] == "span   0 deg .. -90 deg"


def test_a_span_that_is_never_reached_is_a_warning_at_its_driver(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(folder, "driver kick { reads rotation about x of LeftLeg   span 0 deg .. 130 deg }\n")
    assert run(["measure", "stroller.plica", "--clip", "kick.bvh"]) == 0
    shown = capsys.readouterr().err
    assert "stroller.plica:8:8: warning PL930 span-not-reached" in shown
    assert "90 deg of 130 deg" in shown and "69 % of its span" in shown


def test_part_of_a_clip(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(folder, "driver kick { reads rotation about x of LeftLeg   span 0 deg .. 90 deg }\n")
    (driver,) = measured(capsys, "--from", "0.5", "--to", "1")["drivers"]  # type: ignore[misc]
    assert (round(driver["least"]["value"], 6), round(driver["greatest"]["value"], 6)) == (30.0, 60.0)


def test_what_does_not_move_is_told_once_and_gets_no_span(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(folder, "control dial { range 0 .. 1   rest 0 }\ndriver turned { reads control dial   span 0 .. 1 }\n")
    assert run(["measure", "stroller.plica", "--clip", "kick.bvh"]) == 0
    shown = capsys.readouterr()
    assert "PL932 readings-still: nothing in this motion moves `turned`" in shown.err
    assert "suggests" not in shown.out


def test_mistakes_are_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(folder, "driver kick { reads rotation about x of LeftLeg   span 0 deg .. 90 deg }\n")
    assert run(["measure", "stroller.plica", "--clip", "no.bvh"]) == 1
    assert "PL701" in capsys.readouterr().err
    assert run(["measure", "stroller.plica", "--clip", "kick.bvh", "--from", "9"]) == 1
    assert "PL933 no-frames" in capsys.readouterr().err
    assert run(["measure", "no.plica", "--clip", "kick.bvh"]) == 1
    assert capsys.readouterr().out == ""
