"""`plica build`."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from plica.commands.main import run
from tests.support.examples import FILES

OUTPUTS = ["wren.manifest.json", "wren.rig.json", "wren.vectors.json", "wren_rig.py"]
CHECKED = "checked 12 joints, 2 strengths and 2 shapes\n"


@pytest.fixture
def spec(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A good spec in the current folder."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sculpts").mkdir()
    (tmp_path / "sculpts" / "swell.npz").write_bytes((FILES / "sculpts" / "swell.npz").read_bytes())
    text = (FILES / "preamble.plica").read_text("utf-8")
    text += "driver elbow both { reads rotation about z of lowerarm  span 0 deg .. 130 deg }\n"
    text += 'shape swell both { sculpt "sculpts/swell.npz"  follows elbow }\n'
    (tmp_path / "wren.plica").write_text(text, "utf-8")
    return Path("wren.plica")


def names(folder: str) -> list[str]:
    place = Path(folder)
    return sorted(path.relative_to(place).as_posix() for path in place.rglob("*")) if place.exists() else []


def test_the_default_targets_are_written_and_named(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["build", "wren.plica", "--out", "out/deep"]) == 0
    assert names("out/deep") == OUTPUTS
    shown = capsys.readouterr()
    assert shown.out == CHECKED + "".join(f"wrote out/deep/{name}\n" for name in OUTPUTS)
    assert shown.err == ""
    assert run(["build", "wren.plica", "--out", "out/deep"]) == 0
    assert capsys.readouterr().out == CHECKED + "".join(f"already current: out/deep/{name}\n" for name in OUTPUTS)


def test_one_target(spec: Path) -> None:
    assert run(["build", "wren.plica", "--out", "out", "--target", "json"]) == 0
    assert "wren.rig.json" in names("out") and "wren_rig.py" not in names("out")


def test_a_dry_run_writes_nothing(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["build", "wren.plica", "--out", "out", "--dry-run"]) == 0
    assert capsys.readouterr().out == CHECKED + "".join(f"would write out/{name}\n" for name in OUTPUTS)
    assert not Path("out").exists()


def test_current_compares_and_writes_nothing(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    current = ["build", "wren.plica", "--out", "out", "--current"]
    assert run(current) == 1
    assert capsys.readouterr().out.count("PL620 output-not-current") == 4
    assert not Path("out").exists()
    assert run(current[:-1]) == 0
    capsys.readouterr()
    assert run(current) == 0
    assert capsys.readouterr().out == "all 4 files in out are current\n"
    rig = Path("out/wren.rig.json")
    before = rig.read_bytes() + b" "
    rig.write_bytes(before)
    assert run([*current, "--format", "json"]) == 1
    (result,) = json.loads(capsys.readouterr().out)["diagnostics"]
    assert result["message"].startswith("`out/wren.rig.json` ")
    assert rig.read_bytes() == before


def test_an_error_writes_nothing(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec.write_text(spec.read_text("utf-8").replace("follows elbow", "follows elbw"), "utf-8")
    assert run(["build", "wren.plica", "--out", "out"]) == 1
    assert "PL202" in capsys.readouterr().out
    assert run(["build", "wren.plica", "--out", "out", "--current"]) == 1
    assert "PL202" in capsys.readouterr().out
    assert not Path("out").exists()


def test_options_reach_their_target(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("mine.txt.jinja").write_text("{{ rig.character.name }} {{ rig.strengths | length }}\n", "utf-8")
    given = ["build", "wren.plica", "--out", "out", "--target", "template", "--option"]
    assert run([*given, "template.template=mine.txt.jinja"]) == 0
    assert Path("out/mine.txt").read_text("utf-8") == "wren 2\n"
    assert run([*given, "template.templat=mine.txt.jinja"]) == 1
    assert "PL602 unknown-target-option" in capsys.readouterr().out
    assert run([*given, "json.indent=2"]) == 2
    assert "the target `json` is not being built" in capsys.readouterr().err


def test_an_unknown_target(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["build", "wren.plica", "--out", "out", "--target", "jsn"]) == 1
    assert "did you mean `json`?" in capsys.readouterr().out
    assert not Path("out").exists()


def test_a_library_cannot_be_built(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("part.plica").write_text("plica 1\nparameter part\nregion {part} both { skin of {part} }\n", "utf-8")
    assert run(["build", "part.plica", "--out", "out"]) == 1
    assert "PL621 nothing-to-build" in capsys.readouterr().out


def test_an_output_folder_that_is_a_file(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("out").write_text("mine", "utf-8")
    assert run(["build", "wren.plica", "--out", "out"]) == 1
    assert "PL56" in capsys.readouterr().out
    assert Path("out").read_text("utf-8") == "mine"


def test_forms_for_programs_hold_nothing_else(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["build", "wren.plica", "--out", "out", "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out)["diagnostics"] == []
    assert names("out") == OUTPUTS
