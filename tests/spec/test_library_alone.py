"""A library is checked by itself: its own mistakes at its own lines, and what it leaves to characters is stated."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from plica.diagnostics import Diagnostic
from plica.pipeline import compile_file

HAND = """plica 1
parameter fingers
parameter curl = 80 deg
curve knuckle = 0 0, 0.5 0.35, 1 1
each finger in fingers {
    driver {finger}_base both { reads rotation about z of "{finger}_1"   span 0 deg .. {curl}   curve knuckle }
    shape {finger}_knuckle both { sculpt "sculpts/{finger}.npz"  posed at {finger}_base 1   follows {finger}_base }
    fold {finger}_lines both { in skin_detail   area knuckles   follows {finger}_base }
}
"""

# what is replaced, what by, the rule, and the text at its place
MISTAKES = (
    ("{curl}", "{crul}", "unknown-placeholder", "{crul}"),
    ("0 deg ..", "0 mm ..", "wrong-dimension", "0 mm"),
    ("curl = 80 deg", "curl = 80 mm", "wrong-dimension", "80 mm"),
    ("parameter fingers\n", "parameter fingers\nparameter fingers\n", "duplicate-name", "fingers\nparameter curl"),
    ("parameter fingers\n", "parameter fingers\nparameter spare\n", "unused-parameter", "spare"),
    ("curve knuckle }", "curve knukle }", "not-in-library", "knukle"),
    ("   follows {finger}_base }\n    fold", "   follows {finger}_bsae }\n    fold", "not-in-library", "{finger}_bsae"),
    ("reads rotation", "reads rotaton", "unexpected-text", "rotaton"),
    ("driver {finger}_base", "driver finger_base", "not-in-library", "{finger}_base 1"),
    ("span 0 deg .. {curl}", "", "missing-fact", "{finger}_base"),
    ("0.5 0.35", "0.5 35", "curve-out-of-range", "0 0, 0.5 35"),
    ('"sculpts/', '"sculpts\\', "backslash-in-path", '"sculpts'),
)


def checked(folder: Path, text: str) -> Iterator[Diagnostic]:
    """What checking the library finds, but that it was checked without a character."""
    file = folder / "hand.plica"
    file.write_text(text, "utf-8")
    compiled = compile_file(file)
    assert compiled.is_library and compiled.rig is None
    return (one for one in compiled.diagnostics if one.name != "library-alone")


@pytest.mark.parametrize(("right", "wrong", "rule", "at"), MISTAKES)
def test_a_mistake_of_a_library_is_told_once_where_it_stands(
    right: str, wrong: str, rule: str, at: str, tmp_path: Path
) -> None:
    assert right in HAND
    found = list(checked(tmp_path, HAND.replace(right, wrong, 1)))
    assert [one.name for one in found] == [rule]
    for one in found:
        assert one.span is not None and one.span.source.text[one.span.start :].startswith(at)


def test_what_only_a_character_can_tell_is_stated_and_is_no_finding_of_its_own(tmp_path: Path) -> None:
    assert list(checked(tmp_path, HAND)) == []
    (note,) = compile_file(tmp_path / "hand.plica").diagnostics
    assert note.severity == "note"
    for unknown in ("`fingers`", "`{finger}_1`", "`sculpts/{finger}.npz`", "`skin_detail`", "`knuckles`"):
        assert unknown in note.message


def test_a_library_that_leaves_nothing_open_has_no_note(tmp_path: Path) -> None:
    file = tmp_path / "curves.plica"
    file.write_text("plica 1\nparameter low = 0.2\ncurve late = 0 0, 0.5 {low}, 1 1\n", "utf-8")
    assert compile_file(file).diagnostics == ()


def test_what_a_library_hands_to_another_is_checked(tmp_path: Path) -> None:
    (tmp_path / "one.plica").write_text(HAND, "utf-8")
    text = 'plica 1\nparameter names\nuse "one.plica" with { fingres = names }\nuse "two.plica"\n'
    found = list(checked(tmp_path, text))
    assert sorted(one.name for one in found) == ["missing-argument", "missing-file", "unknown-argument"]
