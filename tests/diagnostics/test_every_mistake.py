"""Mistakes of syntax do not hide the others, and what hangs on a broken declaration is not told again."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from plica.diagnostics import Diagnostic, Diagnostics
from plica.pipeline import compile_file, compile_text
from plica.source import Source
from plica.syntax.incremental import IncrementalParser
from plica.syntax.parser import parse
from tests.diagnostics.test_beginners import HAND, MISTAKES, W, demo  # noqa: F401 - a fixture

BY_NAME = {one.what: one for one in MISTAKES}
OTHERS = (
    "wrong dimension",
    "misspelt joint",
    "misspelt driver",
    "misspelt file",
    "unknown combination",
    "misspelt sample",
    "misspelt placeholder",
    "misspelt mesh",
    "override of a misspelt name",
    "same name twice",
)
TYPOS = (
    ("colon after a fact", "misspelt reading"),
    ("brace not closed", "hash comment"),
    ("invented word for each", "misspelt declaration"),
    ("comma between facts", "decimal comma"),
    ("capital keyword", "block comment"),
)


def errors_of(demo: Path, names: Sequence[str]) -> list[Diagnostic]:  # noqa: F811 - the fixture
    texts = {name: (demo / name).read_text("utf-8") for name in (W, HAND)}
    wrong = dict(texts)
    for name in names:
        one = BY_NAME[name]
        assert one.right in wrong[one.file], name
        wrong[one.file] = wrong[one.file].replace(one.right, one.wrong, 1)
    try:
        for name, text in wrong.items():
            (demo / name).write_text(text, "utf-8")
        return [one for one in compile_file(demo / W).diagnostics if one.severity == "error"]
    finally:
        for name, text in texts.items():
            (demo / name).write_text(text, "utf-8")


@pytest.mark.parametrize("typos", TYPOS)
def test_two_typos_and_ten_other_mistakes_are_twelve_errors(typos: tuple[str, str], demo: Path) -> None:  # noqa: F811
    found = errors_of(demo, [*typos, *OTHERS])
    assert sorted(one.name for one in found) == sorted(BY_NAME[name].rule for name in (*typos, *OTHERS))


CHARACTER = """plica 1
character otter {
    skeleton { joint arm_lf at 100 mm, 0 m, 0 m   joint arm_rt at -100 mm, 0 m, 0 m   joint head at 0 m, 300 mm, 0 m }
    symmetry across x
    left "*_lf"
    right "*_rt"
}
"""
USERS = "".join(
    f'shape lift_{number} both {{ follows raise   accept not-sculpted because "it is to come" }}\n'
    for number in range(20)
)
DRIVER = "driver raise both {\n    reads bend of arm\n    span 0 deg .. 60 deg\n}\n"


@pytest.mark.parametrize(
    ("broken", "rule"),
    [
        (DRIVER.replace("reads bend", "reeds bend"), "unexpected-text"),
        (DRIVER.replace("driver raise", "drvier raise"), "unexpected-text"),
        (DRIVER.replace("raise both {", "raise both"), "unexpected-end"),
        (DRIVER.replace("60 deg\n}", "60 deg\n"), "unclosed-block"),
        (DRIVER.replace("driver raise both", "driver both raise"), "unexpected-text"),
        (DRIVER.replace("60 deg", "60 degrees").replace("\n", " "), "unknown-unit"),
        (DRIVER.replace("raise", "pull") + "combine raise both = pull * 2\n", "unexpected-text"),
    ],
)
def test_a_broken_declaration_that_twenty_others_use_is_one_error(broken: str, rule: str) -> None:
    found = [one for one in compile_text(CHARACTER + broken + USERS).diagnostics if one.severity == "error"]
    assert [one.name for one in found] == [rule]


@pytest.mark.parametrize(
    ("right", "wrong"),
    [("    left ", "    left: "), ("character otter {", "charakter otter {"), ("symmetry across x", "symmetry x")],
)
def test_a_broken_character_is_one_error(right: str, wrong: str) -> None:
    text = (CHARACTER + DRIVER + USERS).replace(right, wrong)
    found = [one for one in compile_text(text).diagnostics if one.severity == "error"]
    assert [one.name for one in found] == ["unexpected-text"]


def test_what_a_broken_use_would_have_declared_is_not_missed(tmp_path: Path) -> None:
    (tmp_path / "arm.plica").write_text(f"plica 1\nparameter joint\n{DRIVER.replace('of arm', 'of {joint}')}", "utf-8")
    text = CHARACTER + 'use "arm.plica" with { joint arm }\n' + USERS + "region nose { skin of haed }\n"
    (tmp_path / "otter.plica").write_text(text, "utf-8")
    found = [one for one in compile_file(tmp_path / "otter.plica").diagnostics if one.severity == "error"]
    assert [one.name for one in found] == ["unexpected-text", "unknown-joint"]


def test_a_text_with_mistakes_that_is_being_written_is_read_as_it_is_at_once() -> None:
    reader = IncrementalParser()
    texts = [CHARACTER + DRIVER + USERS]
    texts += [
        texts[0].replace("reads", "reeds"),
        texts[0] + "# done\n",
        texts[0].replace("shape lift_3", "shpae lift_3"),
    ]
    for text in (*texts, *texts):
        source, at_once, by_and_by = Source("otter.plica", text), Diagnostics(), Diagnostics()
        assert reader.parse(source, by_and_by) == parse(source, at_once)
        assert by_and_by.all == at_once.all
