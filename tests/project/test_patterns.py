"""Which files patterns match, and that looking for them ends."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from plica import limits
from plica.diagnostics import Diagnostics
from plica.project.members import members
from plica.project.patterns import Matcher, matches, problem_of
from plica.project.reading import project_of
from plica.project.settings import Pattern

FILES = ("a.plica", "b/a.plica", "b/c/a.plica", "b/c/x.txt", ".hidden/a.plica", "b/.a.plica", "b/*.plica")

MATCHES = [
    ("*.plica", {"a.plica"}),
    ("*/*.plica", {"b/a.plica", "b/*.plica"}),
    ("**/*.plica", {"a.plica", "b/a.plica", "b/c/a.plica", "b/*.plica"}),
    ("b/**/a.plica", {"b/a.plica", "b/c/a.plica"}),
    ("b/**", {"b/a.plica", "b/c/a.plica", "b/c/x.txt", "b/*.plica"}),
    ("**/**/c/**/*.plica", {"b/c/a.plica"}),
    ("?.plica", {"a.plica"}),
    ("./b//c/x.txt", {"b/c/x.txt"}),
    (".hidden/*", {".hidden/a.plica"}),
    ("b/.*", {"b/.a.plica"}),
    ("A.plica", set()),
    ("b", set()),
    ("a.plica/*", set()),
]


@pytest.fixture
def root(tmp_path: Path) -> Path:
    for name in FILES:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    return tmp_path


def matched(root: Path, *patterns: str, diagnostics: Diagnostics | None = None) -> set[str]:
    matcher = Matcher(root, diagnostics or Diagnostics())
    return {path.relative_to(root).as_posix() for path in matcher.files([Pattern(text, None) for text in patterns])}


@pytest.mark.parametrize(("pattern", "expected"), MATCHES)
@pytest.mark.skipif(os.name == "nt", reason="a name that other systems take")
def test_files_and_paths_are_matched_alike(pattern: str, expected: set[str], root: Path) -> None:
    assert matched(root, pattern) == expected
    assert {name for name in FILES if matches(pattern, name)} == expected


def test_a_link_that_leads_outside_is_refused_and_one_inside_is_followed(root: Path, tmp_path_factory) -> None:  # type: ignore[no-untyped-def]
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    (elsewhere / "a.plica").touch()
    (root / "link").symlink_to(elsewhere)
    (root / "b" / "file.plica").symlink_to(elsewhere / "a.plica")
    (root / "good").symlink_to(root / "b" / "c")
    diagnostics = Diagnostics()
    assert matched(root, "*/*.plica", diagnostics=diagnostics) == {"b/a.plica", "b/*.plica", "good/a.plica"}
    assert sorted(one.message for one in diagnostics.all) == [
        "`b/file.plica` leads outside the project",
        "`link` leads outside the project",
    ]


def test_links_in_a_circle_end(root: Path) -> None:
    (root / "b" / "again").symlink_to(root)
    assert "b/again/a.plica" not in matched(root, "**/*.plica")
    assert matched(root, "*/*/*/*/*/*.plica") == {"b/again/b/again/b/a.plica", "b/again/b/again/b/*.plica"}
    (root / "self").symlink_to(root / "self")
    assert "a.plica" in matched(root, "**/*.plica")


def test_a_pattern_that_matches_a_million_files_is_over_the_limit(root: Path) -> None:
    for number in range(300):
        (root / "b" / f"{number}.plica").touch()
    diagnostics = Diagnostics()
    project = project_of('characters = ["**/*.plica"]', root, "plica.toml", diagnostics)
    assert project is not None
    with limits.using(limits.Limits(project_entries=100)):
        assert members(project, diagnostics) is None
    assert [one.name for one in diagnostics.all] == ["over-limit"]
    assert "--limit project-entries=" in (diagnostics.all[0].hint or "")


def test_what_many_patterns_look_at_counts_together(root: Path) -> None:
    diagnostics = Diagnostics()
    listed = ", ".join(['"**/**/**/*.plica"'] * 1000)
    project = project_of(f"characters = [{listed}]", root, "plica.toml", diagnostics)
    assert project is not None
    with limits.using(limits.Limits(project_entries=2000)):
        assert members(project, diagnostics) is None


def test_a_pattern_of_many_stars_is_matched_at_once() -> None:
    begun = time.perf_counter()
    assert not matches("*a" * 100 + "b", "a" * 250)
    assert matches("**/" * 60 + "x", "/".join("a" * 500) + "/x")
    assert time.perf_counter() - begun < 2.0


@pytest.mark.parametrize("text", ["a/" * 65, "con", "a/nul.plica", "a/b:c", "a\x01", "", "."])
def test_what_is_no_path_everywhere_is_no_pattern(text: str) -> None:
    assert problem_of(text)


def test_a_folder_that_may_not_be_listed_is_an_error(root: Path) -> None:
    if os.name == "nt" or os.geteuid() == 0:
        pytest.skip("the superuser may list everything")
    (root / "b").chmod(0)
    try:
        diagnostics = Diagnostics()
        matched(root, "**/*.plica", diagnostics=diagnostics)
        assert [one.name for one in diagnostics.all] == ["unreadable-folder"]
    finally:
        (root / "b").chmod(0o755)
