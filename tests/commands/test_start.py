"""`plica start`."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from plica.commands.main import run
from tests.support.arm_models import write_arms
from tests.support.arms import ELBOW, arms
from tests.support.examples import FILES


@pytest.fixture(autouse=True)
def model(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A model in the current folder."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "wren.gltf").write_bytes((FILES / "wren.gltf").read_bytes())


def test_the_spec_goes_to_the_standard_output_and_checks(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["start", "wren.gltf"]) == 0
    text = capsys.readouterr().out
    assert text.startswith("plica 1\n") and "geometry" in text
    Path("first.plica").write_text(text, "utf-8")
    assert run(["check", "first.plica"]) == 0, capsys.readouterr().out


def test_a_file_is_written_but_not_over_another(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["start", "wren.gltf", "--out", "first.plica"]) == 0
    assert capsys.readouterr().out == "wrote first.plica; next: plica check first.plica\n"
    written = Path("first.plica").read_bytes()
    Path("first.plica").write_bytes(b"mine")
    assert run(["start", "wren.gltf", "--out", "first.plica"]) == 2
    assert "--replace" in capsys.readouterr().err
    assert Path("first.plica").read_bytes() == b"mine"
    assert run(["start", "wren.gltf", "--out", "first.plica", "--replace"]) == 0
    assert Path("first.plica").read_bytes() == written


def test_findings_go_to_the_standard_error(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["start", "absent.gltf", "--out", "first.plica"]) == 1
    shown = capsys.readouterr()
    assert shown.out == "" and "error PL5" in shown.err
    assert not Path("first.plica").exists()
    assert run(["start", "absent.gltf", "--format", "json"]) == 1
    assert json.loads(capsys.readouterr().err)["counts"]["error"] == 1


def test_a_file_that_cannot_be_written(capsys: pytest.CaptureFixture[str]) -> None:
    Path("file").write_text("mine", "utf-8")
    assert run(["start", "wren.gltf", "--out", "file/first.plica"]) == 1
    assert "PL56" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("out", "geometry"), [("first.plica", "models/wren.gltf"), ("models/first.plica", "wren.gltf")]
)
def test_the_model_is_named_from_where_the_spec_lies(out: str, geometry: str) -> None:
    Path("models").mkdir()
    Path("wren.gltf").rename("models/wren.gltf")
    assert run(["start", "models/wren.gltf", "--out", out]) == 0
    assert f'"{geometry}"' in Path(out).read_text("utf-8")
    assert run(["check", out]) == 0


def test_a_model_in_another_folder_needs_allow(capsys: pytest.CaptureFixture[str]) -> None:
    Path("specs").mkdir()
    assert run(["start", "wren.gltf", "--out", "specs/first.plica"]) == 0
    assert capsys.readouterr().out.endswith("next: plica check specs/first.plica --allow .\n")
    assert '"../wren.gltf"' in Path("specs/first.plica").read_text("utf-8")
    assert run(["check", "specs/first.plica"]) == 1
    assert run(["check", "specs/first.plica", "--allow", "."]) == 0


def test_what_was_found_on_the_mesh_is_told_beside_the_spec(capsys: pytest.CaptureFixture[str]) -> None:
    made = arms(ELBOW, shapes={})
    write_arms(Path("arms.gltf"), made.rig, made.attached.mesh)
    assert run(["start", "arms.gltf", "--out", "first.plica"]) == 0
    shown = capsys.readouterr()
    assert shown.out == "wrote first.plica; next: plica check first.plica\n"
    assert "breaks first: lowerarm: " in shown.err
    assert "skin suffers at 1 of " in shown.err
    assert run(["check", "first.plica"]) == 0
    assert capsys.readouterr().out.count(" PL329 ") == 1
    assert run(["prove", "first.plica", "--no-cache"]) == 0
