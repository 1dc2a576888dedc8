"""`plica diff`, and `git diff` set up to use it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from plica.commands.main import run

LIBRARY = """plica 1
parameter joint
driver bend both { reads rotation about x of {joint}   span 0 deg .. 130 deg }
"""
SPEC = """plica 1
character {name} {{
    skeleton {{
        joint hips at 0 m, 0.9 m, 0 m
        joint knee_lf under hips at  10 cm, -40 cm, 0 cm
        joint knee_rt under hips at -10 cm, -40 cm, 0 cm
    }}
    left "*_lf"
    right "*_rt"
}}
use "limb.plica" as knee with {{ joint = knee }}
control mood {{ range 0 .. 1   rest 0 }}
driver frown {{ reads control mood   span 0 .. 1 }}
expect {{ rest }}
"""


def git(*words: str) -> str:
    """What git says; nothing of the machine's own settings takes part."""
    settings = ("-c", "user.name=Wren", "-c", "user.email=wren@example.org", "-c", "commit.gpgsign=false")
    return subprocess.run(["git", *settings, *words], check=True, capture_output=True, text=True).stdout


@pytest.fixture
def repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two characters and the library that both use, committed."""
    monkeypatch.chdir(tmp_path)
    Path("limb.plica").write_text(LIBRARY, "utf-8")
    for name in ("wren", "pip"):
        Path(f"{name}.plica").write_text(SPEC.format(name=name), "utf-8")
    git("init", "--quiet")
    git("add", ".")
    git("commit", "--quiet", "-m", "first")
    return tmp_path


def replaced(file: str, old: str, new: str) -> None:
    text = Path(file).read_text("utf-8")
    assert old in text
    Path(file).write_text(text.replace(old, new), "utf-8")


def test_nothing_changed(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["diff", "git:HEAD", "wren.plica"]) == 0
    assert capsys.readouterr().out == "no changes; version step: none\n"


def test_one_library_line_shows_every_character_and_side(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    replaced("limb.plica", "130 deg", "100 deg")
    assert run(["diff", "git:HEAD", "."]) == 1
    shown = capsys.readouterr().out
    cause = shown[shown.index("one declaration, several effects") :]
    assert "limb.plica:3:" in cause
    assert "pip: driver knee_bend (both sides)" in cause and "wren: driver knee_bend (both sides)" in cause
    # Linear over 0..130 against 0..100 degrees: at 100 degrees 1 against 100/130.
    assert "at most 0.2308, at 100 deg; the extreme moved from 130 deg to 100 deg" in shown
    assert shown.endswith("2 risky; version step: minor\n")


def test_a_dropped_expectation_and_a_moved_rest_are_said_loudly(
    repository: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    replaced("wren.plica", "expect { rest }\n", "")
    replaced("wren.plica", "span 0 .. 1", "span 1 .. 0")
    assert run(["diff", "git:HEAD:wren.plica", "wren.plica", "--format", "json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert (document["format"], document["version"], document["step"]) == ("plica-diff", 1, "major")
    frown, rest = document["changes"]
    assert frown["effect"]["flipped"] and frown["effect"]["rest"] == [0.0, 1.0]
    assert "EXPECTATION DROPPED" in rest["verdicts"][0]["text"]


def test_accepted_changes_do_not_count_and_unused_ones_are_told(
    repository: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    replaced("limb.plica", "130 deg", "100 deg")
    run(["diff", "git:HEAD", "wren.plica"])
    fingerprint = re.findall(r"fingerprint (\w+)", capsys.readouterr().out)[0]
    Path("accepted.toml").write_text(f'{fingerprint} = "stiffer boots"\n{"0" * 16} = "long ago"\n', "utf-8")
    assert run(["diff", "git:HEAD", "wren.plica", "--accept", "accepted.toml"]) == 0
    shown = capsys.readouterr()
    assert "stiffer boots" in shown.out and "version step: none" in shown.out
    assert "PL917" in shown.err and "long ago" in shown.err


def test_other_forms(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    replaced("limb.plica", "130 deg", "100 deg")
    assert run(["diff", "git:HEAD", "wren.plica", "--format", "sarif"]) == 1
    result = json.loads(capsys.readouterr().out)["runs"][0]["results"][0]
    assert result["ruleId"] == "PL911" and "plicaChange/v1" in result["partialFingerprints"]
    assert run(["diff", "git:HEAD", "wren.plica", "--format", "github"]) == 1
    assert capsys.readouterr().out.startswith("::warning file=limb.plica,line=3,")
    assert run(["diff", "git:HEAD", "wren.plica", "--format", "markdown"]) == 1
    assert "](data:image/svg+xml;base64," in capsys.readouterr().out


def test_what_cannot_be_compared(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["diff", "git:nowhere", "wren.plica"]) == 2
    assert "PL914" in capsys.readouterr().err
    assert run(["diff", "limb.plica", "wren.plica"]) == 2
    assert "PL918" in capsys.readouterr().err
    Path("odd.json").write_text("{}", "utf-8")
    assert run(["diff", "odd.json", "wren.plica"]) == 2
    assert "PL915" in capsys.readouterr().err


def test_git_diff_shows_what_a_change_does(repository: Path) -> None:
    command = f"'{sys.executable}' -m plica diff --git-driver"
    git("config", "diff.plica.command", command)
    Path(".gitattributes").write_text("*.plica diff=plica\n", "utf-8")
    replaced("wren.plica", "span 0 .. 1", "span 0 .. 2")
    replaced("limb.plica", "130 deg", "100 deg")
    shown = git("diff")
    assert "plica diff wren.plica\n" in shown and "driver frown" in shown
    assert "the extreme moved from 1 to 2" in shown
    assert "+driver bend both" in shown  # a library has no character: its lines
