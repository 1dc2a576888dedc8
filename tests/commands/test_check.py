"""`plica check`."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from plica.commands.main import run
from plica.rig.entry_text import vector_text
from tests.support.examples import FILES

DRIVER = "driver elbow both { reads rotation about z of lowerarm  span 0 deg .. 130 deg }\n"
SWELL = 'shape swell both { sculpt "sculpts/swell.npz"  follows elbow }\n'


@pytest.fixture
def spec(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A good spec in the current folder."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sculpts").mkdir()
    (tmp_path / "sculpts" / "swell.npz").write_bytes((FILES / "sculpts" / "swell.npz").read_bytes())
    text = (FILES / "preamble.plica").read_text("utf-8") + DRIVER + SWELL
    (tmp_path / "wren.plica").write_text(text, "utf-8")
    return Path("wren.plica")


def broken(spec: Path, old: str, new: str) -> None:
    text = spec.read_text("utf-8")
    assert old in text
    spec.write_text(text.replace(old, new), "utf-8")


def test_a_good_spec_is_one_line(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", str(spec)]) == 0
    shown = capsys.readouterr()
    assert (
        shown.out
        == "wren.plica: checked 12 joints, 2 strengths and 2 shapes; 10 of 10 joints to the sides paired; no errors\n"
    )
    assert shown.err == ""


def test_errors_are_shown_and_counted(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken(spec, "follows elbow", "follows elbw")
    assert run(["check", str(spec)]) == 1
    shown = capsys.readouterr()
    assert "wren.plica:22:56: error PL202 unknown-name: " in shown.out
    assert "hint: did you mean `elbow`?" in shown.out
    assert shown.out.endswith("1 error\n") or "1 error, " in shown.out
    assert "no errors" not in shown.out
    assert shown.err == ""


def test_several_specs_are_checked_and_a_shared_mistake_is_shown_once(
    spec: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("part.plica").write_text("plica 1\nparameter part\nregion {part} both { skn of {part} }\n", "utf-8")
    use = 'use "part.plica" with { part = hand }\n'
    with spec.open("a", encoding="utf-8") as file:
        file.write(use)
    Path("other.plica").write_text(spec.read_text("utf-8"), "utf-8")
    assert run(["check", "wren.plica", "other.plica", "wren.plica"]) == 1
    assert capsys.readouterr().out.count("PL101") == 1


def test_a_library_is_checked_alone(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("part.plica").write_text("plica 1\nparameter part\nregion {part} both { skin of {part} }\n", "utf-8")
    assert run(["check", "part.plica"]) == 0
    text = capsys.readouterr().out
    assert text.startswith("part.plica:1:1: note PL248 library-alone: checked without a character")
    assert text.endswith("part.plica: checked as a library of other specs; no errors\n")
    broken(Path("part.plica"), "skin of {part}", "skin of {prat}")
    assert run(["check", "part.plica"]) == 1
    assert capsys.readouterr().out.count("part.plica:3:30: error PL211 unknown-placeholder") == 1


def test_json_is_a_document_and_nothing_else(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", str(spec), "--format", "json", "--axes"]) == 0
    assert json.loads(capsys.readouterr().out)["diagnostics"] == []
    broken(spec, "130 deg", "130 degs")
    assert run(["check", str(spec), "--format", "json"]) == 1
    (result,) = json.loads(capsys.readouterr().out)["diagnostics"]
    assert result["name"] == "unknown-unit" and result["place"]["file"] == "wren.plica"


def test_sarif_and_github(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken(spec, "130 deg", "130 degs")
    assert run(["check", str(spec), "--format", "sarif"]) == 1
    log = json.loads(capsys.readouterr().out)
    assert log["runs"][0]["results"][0]["ruleId"] == "PL106"
    assert run(["check", str(spec), "--format", "github"]) == 1
    assert capsys.readouterr().out.startswith("::error file=wren.plica,line=21,")


def test_the_axes_of_both_sides(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The skeleton's joints have no rotation at rest, so the mirror at x = 0 turns the sense of a rotation about z."""
    assert run(["check", str(spec), "--axes"]) == 0
    lines = capsys.readouterr().out.split("\n")
    assert [line.split() for line in lines[2:4]] == [
        ["left_elbow", "left", "rotation", "about", "lowerarm_lf", "z"],
        ["right_elbow", "right", "rotation", "about", "lowerarm_rt", "-z"],
    ]


@pytest.mark.parametrize(
    "reads",
    [
        "rotation about (1, 2, 0.5) of lowerarm",
        "swing toward y of lowerarm",
        "euler y order xyz of lowerarm",
        "rotation about x in model of lowerarm",
    ],
)
def test_every_kind_of_reading_with_an_axis_is_listed(
    spec: Path, reads: str, capsys: pytest.CaptureFixture[str]
) -> None:
    broken(spec, "rotation about z of lowerarm", reads)
    assert run(["check", str(spec), "--axes"]) == 0
    out = capsys.readouterr().out
    assert out.count("lowerarm_lf") == out.count("lowerarm_rt") == 1


def test_readings_without_an_axis_are_not_listed(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken(spec, "rotation about z of lowerarm", "bend of lowerarm")
    assert run(["check", str(spec), "--axes"]) == 0
    assert "no reading with an axis exists on both sides" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("vector", "text"),
    [
        ((1.0, 0.0, 0.0), "x"),
        ((0.0, -1.0, 0.0), "-y"),
        ((0.0, 1e-12, 1.0), "z"),
        ((0.6, -0.8, 0.0), "(0.6, -0.8, 0)"),
        ((0.26726124, 0.53452248, 0.80178373), "(0.2673, 0.5345, 0.8018)"),
        ((0.5, 0.0, 0.0), "(0.5, 0, 0)"),
        ((-1e-7, 0.0, 2.0), "(0, 0, 2)"),
    ],
)
def test_axes_are_written_as_one_would(vector: tuple[float, float, float], text: str) -> None:
    assert vector_text(vector) == text


def test_files_outside_the_folder_need_allow(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("deep").mkdir()
    inner = Path("deep/wren.plica")
    inner.write_text(spec.read_text("utf-8").replace("sculpts/", "../sculpts/"), "utf-8")
    assert run(["check", str(inner)]) == 1
    assert "PL502 file-outside" in capsys.readouterr().out
    assert run(["check", str(inner), "--allow", "."]) == 0


@pytest.mark.parametrize("with_model", [False, True])
def test_check_does_not_import_what_is_heavy(spec: Path, with_model: bool) -> None:
    """Start-up time: what check of a spec without mistakes needs, and no more."""
    if with_model:
        Path("wren.gltf").write_bytes((FILES / "wren.gltf").read_bytes())
        spec.write_text('plica 1\ncharacter wren { geometry "wren.gltf" }\n', "utf-8")
    code = (
        "import sys; from plica.commands.main import run; code = run(['check', 'wren.plica'])\n"
        "heavy = {'numpy', 'pydantic', 'jinja2', 'lark', 'rich', 'pygltflib', 'PIL', 'scipy', 'pxr', 'tomllib',\n"
        "  'dataclasses', 'difflib', 'importlib.metadata', 'secrets', 'statistics'} & set(sys.modules)\n"
        "import typing; slow = {name for name, module in sys.modules.items() if name.startswith('plica.')\n"
        "  and getattr(module, 'NamedTuple', None) is typing.NamedTuple}  # see plica.named_tuples\n"
        "print(sorted(heavy | slow), code)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.endswith("[] 0\n"), done.stdout + done.stderr


def test_the_output_does_not_depend_on_the_hash_seed(spec: Path) -> None:
    broken(spec, "130 deg", "130 degs }\nregion x { skn of y ")
    outputs = {
        subprocess.run(
            [sys.executable, "-m", "plica", "check", "wren.plica", "--format", "sarif"],
            capture_output=True,
            env={"PYTHONHASHSEED": value, "PATH": ""},
        ).stdout
        for value in ("0", "1", "2", "77")
    }
    assert len(outputs) == 1
