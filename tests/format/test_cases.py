"""Texts and their layouts, side by side in `cases/`.

`PLICA_GOLDEN=write python -m pytest tests/format` writes the layouts anew. Read the diff before committing it.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from plica.diagnostics import Diagnostics
from plica.format import difference, formatted, lay_out
from plica.source import Source
from plica.syntax.parser_tables import parser
from plica.syntax.structure import structure_of

CASES = sorted(path for path in (Path(__file__).parent / "cases").glob("*.plica") if ".formatted" not in path.name)
IGNORED = {"COMMENT", "WHITESPACE"}


def _layout_of(path: Path) -> Path:
    return path.with_suffix(".formatted.plica")


@pytest.mark.parametrize("case", CASES, ids=lambda path: path.stem)
def test_the_layout_is_the_one_on_file_and_keeps_everything(case: Path) -> None:
    laid_out = lay_out(Source(case.name, case.read_text("utf-8")), Diagnostics())
    assert laid_out is not None
    assert difference(laid_out) is None
    if os.environ.get("PLICA_GOLDEN") == "write":
        _layout_of(case).write_text(laid_out.text, "utf-8", newline="")
    assert laid_out.text == _layout_of(case).read_text("utf-8")


@pytest.mark.parametrize("case", CASES, ids=lambda path: path.stem)
def test_no_line_ends_in_blanks_and_only_what_cannot_be_broken_is_long(case: Path) -> None:
    for line in _layout_of(case).read_text("utf-8").splitlines():
        assert line == line.rstrip()
        assert len(line) <= 100 or line.lstrip().startswith("note")


def test_the_cases_hold_every_word_of_the_grammar() -> None:
    seen: set[str] = set()
    for case in CASES:
        structure = structure_of(Source(case.name, case.read_text("utf-8")), Diagnostics())
        assert structure is not None
        seen |= set(structure.tokens.kinds)
    assert {terminal.name for terminal in parser().terminals} - IGNORED - seen == set()


@pytest.mark.parametrize("line_end", ["\r\n", "\n"])
def test_line_ends_are_line_feeds(line_end: str) -> None:
    for case in CASES:
        text = case.read_text("utf-8").replace("\n", line_end)
        assert formatted(Source(case.name, text), Diagnostics()) == _layout_of(case).read_text("utf-8")


@pytest.mark.parametrize("text", ["", "plica 2\nregion a { skin of b }\n", "plica 1\nregion a { skn of b }\n", "plica"])
def test_a_text_with_mistakes_has_no_layout(text: str) -> None:
    diagnostics = Diagnostics()
    assert formatted(Source("a.plica", text), diagnostics) is None
    assert diagnostics.has_errors


def test_earlier_findings_do_not_count() -> None:
    diagnostics = Diagnostics()
    assert formatted(Source("a.plica", ""), diagnostics) is None
    assert formatted(Source("a.plica", "plica  1"), diagnostics) == "plica 1\n"
