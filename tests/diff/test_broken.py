"""One spec that does not compile hides no other: it is told with its mistake, and compared as far as its text goes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from plica.commands.main import run
from plica.diff.diagnostics_report import render_github, render_sarif
from plica.diff.json_report import document
from plica.diff.judged_change import JudgedChange
from plica.diff.report import Report
from plica.diff.text_report import render
from plica.diff.verdicts import Harm
from tests.diff.test_review import DOT, MOSS, WREN
from tests.support.post import LIBRARY, edited, post, report_of
from tests.support.repositories import git

MISTAKE = (WREN, "bend of head", "bend of hed")


@pytest.fixture
def folders(tmp_path: Path) -> tuple[Path, Path]:
    """The old and the new state, alike."""
    return post(tmp_path / "old"), post(tmp_path / "new")


def of_character(report: Report, name: str) -> list[JudgedChange]:
    return [change for change in report.changes if change.character == name]


def test_a_mistake_in_one_character_hides_nothing_of_the_others(folders: tuple[Path, Path]) -> None:
    edited(folders[1], *MISTAKE)
    edited(folders[1], MOSS, "span 0 deg .. 40 deg", "span 0 deg .. 44 deg")
    report = report_of(*folders)
    assert [change.title for change in of_character(report, "moss")] == ["driver nod"]
    broken, text = of_character(report, "wren")
    assert (broken.title, broken.harm) == ("character wren", Harm.BREAKING)
    assert "DOES NOT COMPILE NOW" in broken.verdicts[0].text and "`hed`" in broken.verdicts[0].text
    assert (text.title, text.harm) == ("driver nod", Harm.RISKY)
    assert [line[:2] for line in text.verdicts[0].lines] == ["- ", "+ "]
    assert [(one.character, one.state) for one in report.broken] == [("wren", "new")]
    assert report.step == "unknown" and not report.is_whole


def test_the_commit_that_mends_a_mistake_is_compared(folders: tuple[Path, Path]) -> None:
    edited(folders[0], *MISTAKE)
    mended, text = report_of(*folders).changes
    assert mended.harm is Harm.RISKY and "compiles now" in mended.verdicts[0].text
    assert text.verdicts[0].lines[1].startswith("+ driver nod { reads bend of head")


def test_what_is_broken_before_and_after_is_no_change_and_not_alike(folders: tuple[Path, Path]) -> None:
    for folder in folders:
        edited(folder, *MISTAKE)
    report = report_of(*folders)
    assert report.changes == () and report.step == "unknown"
    assert "not compared: wren compiles neither before nor now" in render(report)


@pytest.mark.parametrize(
    ("old", "new"), [("bend of paw", "bend of pow"), ("span 0 deg .. 70 deg }", "span 0 deg .. 70 deg")]
)
def test_a_mistake_in_a_library_is_told_of_each_user_and_its_lines_once(
    folders: tuple[Path, Path], old: str, new: str
) -> None:
    """Also where its text cannot be parsed any more."""
    edited(folders[1], LIBRARY, old, new)
    report = report_of(*folders)
    assert [change.character for change in report.changes] == ["dot", "moss", "wren", ""]
    assert [len(entry.changes) for entry in report.entries] == [3, 1]
    lines = report.changes[-1]
    assert lines.title == "driver wrist both"
    assert lines.used_by == ("character dot", "character moss", "character wren")
    assert len(lines.verdicts[0].lines) == 2


def test_lines_of_a_library_that_was_not_come_to_are_not_taken_for_gone(folders: tuple[Path, Path]) -> None:
    """A text that cannot be parsed is bound to no library."""
    edited(folders[1], WREN, "driver nod {", "driver nod {{")
    report = report_of(*folders)
    assert all(change.place is not None and WREN in change.place.source.path for change in report.changes)


def test_forms_for_tools_hold_every_mistake(folders: tuple[Path, Path]) -> None:
    for folder in folders:
        edited(folder, DOT, "bend of head", "bend of haed")
    edited(folders[1], *MISTAKE)
    report = report_of(*folders)
    told = document(report)
    assert [(one["character"], one["state"]) for one in told["broken"]] == [
        ("dot", "old"),
        ("dot", "new"),
        ("wren", "new"),
    ]
    assert all(one["diagnostics"][0]["code"] == "PL203" for one in told["broken"])
    results = json.loads(render_sarif(report))["runs"][0]["results"]
    assert len(results) == len(report.changes) + 1
    assert results[-1]["ruleId"] == "PL203" and results[-1]["locations"]
    assert any("DOES NOT COMPILE NOW" in one["message"]["text"] for one in results)
    lines = render_github(report).splitlines()
    assert len(lines) == len(report.changes) + 1 and "haed" in lines[-1]


@pytest.fixture
def repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The three characters, committed, and the folder of temporary files."""
    place = post(tmp_path / "post")
    (tmp_path / "temporary").mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    monkeypatch.chdir(place)
    git("init", "--quiet")
    git("add", ".")
    git("commit", "--quiet", "-m", "first")
    return place


GIVEN = ["diff", "git:HEAD", ".", "--allow", "library", "--no-measure"]


def test_exit_statuses(repository: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0 alike, 1 different, 2 where the new state cannot be compared; a mended mistake is a difference."""
    assert run(GIVEN) == 0
    edited(repository, *MISTAKE)
    edited(repository, MOSS, "40 deg", "44 deg")
    capsys.readouterr()
    assert run(GIVEN) == 2
    shown = capsys.readouterr()
    assert "moss: driver nod" in shown.out and "wren: character wren" in shown.out and shown.err == ""
    git("commit", "--quiet", "-am", "a mistake")
    assert run(GIVEN) == 2  # alike, but what it does is unknown
    edited(repository, WREN, "bend of hed", "bend of head")
    assert run(GIVEN) == 1


@pytest.mark.parametrize("form", ["text", "markdown", "json", "sarif", "github"])
def test_files_are_called_what_they_are_called_in_the_working_tree(
    repository: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, form: str
) -> None:
    """Also of a revision, of what is gone, and of mistakes there; seen from another folder of the repository too."""
    edited(repository, *MISTAKE)
    git("commit", "--quiet", "-am", "a mistake")
    edited(repository, DOT, "expect { rest }\n", "")
    run([*GIVEN, "--format", form])
    shown = "".join(capsys.readouterr())
    assert (
        DOT in shown
        and "git:" not in shown
        and "temporary" not in shown
        and "plica-" not in shown.replace("plica-diff", "").replace("plica-diagnostics", "")
    )
    monkeypatch.chdir(repository / "characters")
    run(["diff", "git:HEAD", ".", "--allow", "../library", "--no-measure", "--format", form])
    assert "dot.plica" in "".join(capsys.readouterr())


@pytest.mark.parametrize("form", ["json", "sarif", "github"])
def test_forms_for_tools_are_whole_where_nothing_could_be_compared(
    repository: Path, capsys: pytest.CaptureFixture[str], form: str
) -> None:
    assert run(["diff", "git:nowhere", ".", "--format", form]) == 2
    shown = capsys.readouterr().out
    assert "PL914" in shown
    if form == "json":
        told = json.loads(shown)
        assert told["step"] == "unknown" and told["changes"] == [] and told["diagnostics"][0]["code"] == "PL914"
    elif form == "sarif":
        assert json.loads(shown)["runs"][0]["results"][-1]["ruleId"] == "PL914"
