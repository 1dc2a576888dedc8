"""`git diff` set up to use `plica diff`, and what it shows."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from tests.support.compared import SPEC, replaced
from tests.support.repositories import committed, git


@pytest.fixture
def driven(repository: Path) -> Path:
    """The repository with `git diff` set up as the documentation says."""
    command = f"'{sys.executable}' -m plica diff --git-driver"
    git("config", "diff.plica.command", command)
    Path(".gitattributes").write_text("*.plica diff=plica\n", "utf-8")
    return repository


def both_changed(step: int) -> None:
    """Another span in the library, and another in the spec, so that git shows the spec."""
    text = Path("limb.plica").read_text("utf-8")
    Path("limb.plica").write_text(re.sub(r"\d+ deg \}", f"{130 - step} deg }}", text), "utf-8")
    text = Path("wren.plica").read_text("utf-8")
    Path("wren.plica").write_text(re.sub(r"span 0 \.\. \d+", f"span 0 .. {1 + step}", text), "utf-8")


@pytest.mark.parametrize(
    ("words", "old", "new", "spans"),
    [
        ([], "the index", "the working tree", "110 deg → 0 deg .. 100 deg"),
        (["--cached"], "HEAD", "the index", "120 deg → 0 deg .. 110 deg"),
        (["HEAD"], "HEAD", "the working tree", "120 deg → 0 deg .. 100 deg"),
        (["HEAD~1", "HEAD"], "the commit before ", "HEAD", "130 deg → 0 deg .. 120 deg"),
        (["HEAD~1"], "the commit before ", "the working tree", "130 deg → 0 deg .. 100 deg"),
        (["--cached", "-R"], "the index", "HEAD", "110 deg → 0 deg .. 120 deg"),
        (["-R"], "the working tree", "the index", "100 deg → 0 deg .. 110 deg"),
    ],
)
def test_libraries_are_those_of_the_states_that_git_compares(
    driven: Path, words: list[str], old: str, new: str, spans: str
) -> None:
    both_changed(10)
    git("commit", "--quiet", "-am", "second")
    both_changed(20)
    git("add", ".")
    both_changed(30)
    shown = git("diff", *words, "--", "wren.plica")
    assert f"old from {old}" in shown and f"new from {new}\n" in shown
    assert f"span 0 deg .. {spans}" in shown


def test_what_git_does_not_keep_comes_from_the_working_tree(driven: Path) -> None:
    Path(".gitignore").write_text("limb.plica\n", "utf-8")
    git("rm", "--quiet", "--cached", "limb.plica")
    git("commit", "--quiet", "-am", "the library is somebody else's")
    replaced("wren.plica", "span 0 .. 1", "span 0 .. 2")
    shown = git("diff")
    assert "not in the index, so from the working tree: limb.plica" in shown
    assert "the extreme moved from 1 to 2" in shown


def test_a_new_and_a_lost_character_in_git_diff(driven: Path) -> None:
    Path("pip.plica").unlink()
    assert "the whole character is gone" in git("diff")
    Path("finn.plica").write_text(SPEC.format(name="finn"), "utf-8")
    git("add", "--intent-to-add", "finn.plica")
    assert "a whole character, new" in git("diff", "--", "finn.plica")


def test_git_diff_shows_what_a_change_does(driven: Path) -> None:
    replaced("wren.plica", "span 0 .. 1", "span 0 .. 2")
    replaced("limb.plica", "130 deg", "100 deg")
    shown = git("diff")
    assert "plica diff wren.plica\n" in shown and "driver frown" in shown
    assert "the extreme moved from 1 to 2" in shown
    assert "a library; `plica diff git:HEAD .` shows" in shown
    assert "+driver bend both" in shown  # a library has no character: its lines


def test_git_diff_shows_files_of_any_name(driven: Path) -> None:
    """The name comes first in what git gives, where it could be taken for an option."""
    names = ("-dash.plica", "--help.plica", "--.plica", "-h.plica", " .plica", "*.plica", ":(top)x.plica")
    for name in names:
        Path(name).write_text(SPEC.format(name="dash"), "utf-8")
        git("add", "--", f":(literal){name}")
    git("commit", "--quiet", "-m", "second")
    for number, name in enumerate((*names, "wren.plica"), 2):
        replaced(name, "span 0 .. 1", f"span 0 .. {number}")
    shown = dict(part.split("\n", 1) for part in git("diff").split("plica diff ")[1:])
    assert shown.keys() == {*names, "wren.plica"}
    for number, name in enumerate((*names, "wren.plica"), 2):
        # Those that begin with these are names that not every system takes.
        assert (f"from 1 to {number}" in shown[name]) == (name[0] not in "*:"), name


def test_git_diff_of_a_commit_that_names_other_places(driven: Path) -> None:
    old, new = (
        committed({"..": {"x.plica": SPEC.format(name=name).encode()}, "wren.plica": SPEC.format(name=name).encode()})
        for name in ("wren", "pip")
    )
    shown = git("diff", old, new)
    assert "plica diff ../x.plica\nnot compared: " in shown and "\n--- a/../x.plica" in shown


def test_git_diff_says_what_it_did_not_read(driven: Path) -> None:
    Path("wren.plica").write_text(SPEC.format(name="wren") + "//" + "x" * 5000, "utf-8")
    git("config", "diff.plica.command", f"'{sys.executable}' -m plica diff --limit spec-bytes=4KiB --git-driver")
    shown = git("diff")
    assert shown == "plica diff wren.plica\nnot compared: `wren.plica` is larger than 4 KiB\n"


CHANGED = ("-driver frown { reads control mood   span 0 .. 1 }", "+driver frown { reads control mood   span 0 .. 2 }")


def assert_summary_then_lines(shown: str) -> None:
    """What the change does, and below it the lines that differ."""
    summary, _, lines = shown.partition("--- a/")
    assert "driver frown" in summary and "the extreme moved from 1 to 2" in summary
    assert all(f"\n{line}\n" in lines for line in CHANGED)


@pytest.mark.parametrize(
    "words", [["diff", "HEAD~1", "HEAD"], ["show", "--ext-diff", "HEAD"], ["log", "-p", "--ext-diff", "-1"]]
)
def test_every_way_of_looking_at_a_commit_shows_the_summary_and_then_the_lines(driven: Path, words: list[str]) -> None:
    replaced("wren.plica", "span 0 .. 1", "span 0 .. 2")
    git("commit", "--quiet", "-am", "second")
    assert_summary_then_lines(git(*words))


def test_every_commit_of_a_log_is_told(driven: Path) -> None:
    replaced("wren.plica", "span 0 .. 1", "span 0 .. 2")
    git("commit", "--quiet", "-am", "second")
    replaced("wren.plica", "span 0 .. 2", "span 0 .. 3")
    git("commit", "--quiet", "-am", "third")
    shown = git("log", "-p", "--ext-diff", "--", "wren.plica")
    assert "from 2 to 3" in shown and "from 1 to 2" in shown and "a whole character, new" in shown


def test_a_spec_with_another_name_is_compared_with_what_it_was(driven: Path) -> None:
    git("mv", "wren.plica", "otter.plica")
    replaced("otter.plica", "span 0 .. 1", "span 0 .. 2")
    git("commit", "--quiet", "-am", "second")
    shown = git("show", "--ext-diff", "-M10%", "HEAD")
    assert "plica diff otter.plica\n" in shown and "+++ b/otter.plica" in shown and "--- a/wren.plica" in shown
    assert_summary_then_lines(shown)


def test_new_and_lost_specs_show_their_lines(driven: Path) -> None:
    git("rm", "--quiet", "pip.plica")
    shown = git("diff", "--cached")
    assert "+++ /dev/null" in shown and "-character pip {" in shown and "the whole character is gone" in shown


def test_a_merge_is_told_from_each_side(driven: Path) -> None:
    git("checkout", "--quiet", "-b", "side")
    replaced("wren.plica", "span 0 .. 1", "span 0 .. 2")
    git("commit", "--quiet", "-am", "ours")
    git("checkout", "--quiet", "-")
    replaced("pip.plica", "expect { rest }\n", "")
    git("commit", "--quiet", "-am", "theirs")
    git("merge", "--quiet", "--no-ff", "-m", "both", "side")
    shown = git("show", "--ext-diff", "-m", "--first-parent", "HEAD")
    assert_summary_then_lines(shown)
    assert "EXPECTATION DROPPED" in git("show", "--ext-diff", "-m", "HEAD")


def test_what_does_not_compile_is_said_above_the_lines(driven: Path) -> None:
    replaced("wren.plica", "driver frown { reads control mood", "driver frown { reads control mod")
    shown = git("diff")
    assert "not compared: wren.plica:" in shown and "mod" in shown and "+driver frown { reads control mod " in shown
    git("commit", "--quiet", "-am", "a mistake")
    replaced("wren.plica", "control mod ", "control mood ")
    assert "not compared: " in git("diff") and "-driver frown { reads control mod " in git("diff")
