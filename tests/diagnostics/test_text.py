"""Findings as text for people."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from rich.cells import cell_len

from plica.diagnostics import Diagnostic, Diagnostics, Label
from plica.diagnostics.text import MOST_COLUMNS, render, summary
from plica.pipeline import compile_text
from plica.source import Source, Span

CASES = Path(__file__).parent / "cases"


@pytest.mark.parametrize("case", sorted(CASES.glob("*.plica")), ids=lambda path: path.stem)
def test_the_text_of_each_case_is_as_written_beside_it(case: Path) -> None:
    """Golden files; PLICA_UPDATE_GOLDEN=1 writes them anew, for a person to read the difference."""
    text = case.read_bytes().decode("utf-8")
    rendered = render(compile_text(text, case.name).diagnostics)
    expected = case.with_suffix(".txt")
    if os.environ.get("PLICA_UPDATE_GOLDEN") == "1":
        expected.write_bytes(rendered.encode())
    assert rendered
    assert rendered.encode() == expected.read_bytes()


def one(text: str, start: int, end: int, *labels: Label, path: str = "a.plica") -> tuple[Diagnostic, ...]:
    diagnostics = Diagnostics()
    span = Span(Source(path, text), start, end)
    diagnostics.add("unexpected-text", span, labels=labels, found="x", expected="y")
    return diagnostics.all


def rows(rendered: str) -> list[str]:
    """The lines of the excerpt."""
    return [line for line in rendered.split("\n") if " | " in line]


def test_the_underlining_stands_below_the_place() -> None:
    line, under = rows(render(one("ab\ncd efg h\n", 6, 9)))
    assert line == "  2 | cd efg h"
    assert under == "    |    ^^^"


def test_tabs_are_shown_as_spaces_and_counted() -> None:
    line, under = rows(render(one("\tab\tcd", 4, 6)))
    assert line.index("cd") == under.index("^^")


# rich's cell_len is a general-purpose library's table of terminal widths, made from Unicode's data (UAX 11).
@pytest.mark.parametrize(
    "before", ["", "abc ", "手足 ", "ｗｉｄｅ ", "é ", "e\u0301 ", "한 글 ", "ﾊﾝｶｸ ", "🦦 ", "\u200d"]
)
def test_wide_and_combining_characters_keep_the_underlining_aligned(before: str) -> None:
    line, under = rows(render(one(before + "joint!", len(before), len(before) + 5)))
    assert cell_len(line[: line.index("joint")]) == under.index("^")
    assert under.endswith(" " + "^" * 5)


def test_a_wide_place_is_underlined_in_full() -> None:
    _, under = rows(render(one("a 手足 b", 2, 4)))
    assert under.count("^") == cell_len("手足")


def test_an_empty_place_has_one_mark() -> None:
    _, under = rows(render(one("ab", 2, 2)))
    assert under == "    |   ^"


@pytest.mark.parametrize("start", [0, 1, 50, 500, 989, 998])
def test_a_long_line_is_cut_around_the_place(start: int) -> None:
    text = "".join(chr(ord("a") + n % 26) for n in range(1000))
    line, under = rows(render(one(text, start, start + 1)))
    assert len(line) <= MOST_COLUMNS + 8
    assert line[under.index("^")] == text[start]
    assert ("…" in line[:7]) == (start > 30)


def test_a_long_place_is_underlined_as_far_as_it_is_shown() -> None:
    line, under = rows(render(one("x" * 5000, 100, 4000)))
    assert len(under) <= len(line)


def test_a_place_over_several_lines_is_marked_at_both_ends() -> None:
    lines = rows(render(one("driver a {\n  b\n  c\n}\nd", 0, 20)))
    assert lines == [
        "  1 | driver a {",
        "    | ^^^^^^^^^^ from here",
        "  4 | }",
        "    | ^ to here",
    ]


def test_a_place_that_ends_with_its_line_stays_in_it() -> None:
    assert len(rows(render(one("ab\r\ncd\r\n", 0, 4)))) == 2


def test_labels_are_shown_with_their_lines_and_files() -> None:
    source = Source("a.plica", "driver a {\n  b\n")
    diagnostics = Diagnostics()
    other = Label(Span(Source("lib.plica", "x\nregion z\n"), 9, 10), "declared here")
    same = Label(Span(source, 13, 14), "needed by this")
    diagnostics.add("unexpected-text", Span(source, 0, 6), labels=[same, other], found="x", expected="y")
    rendered = render(diagnostics.all)
    assert rows(rendered) == [
        "  1 | driver a {",
        "    | ^^^^^^",
        "  2 |   b",
        "    |   - needed by this",
        "  2 | region z",
        "    |        - declared here",
    ]
    assert "     in lib.plica\n" in rendered


def test_nothing_that_steers_a_terminal_gets_through() -> None:
    diagnostics = Diagnostics()
    source = Source("a\x1b[2J.plica", "joint \x1b]0;hello\x07 \u202e\n")
    diagnostics.add("unexpected-text", Span(source, 6, 9), hint="\x1b[1m", found="\x1b[31m", expected="\x9b")
    rendered = render(diagnostics.all)
    assert all(character.isprintable() or character == "\n" for character in rendered)


def test_colour_only_when_asked() -> None:
    result = one("ab\n", 0, 1)
    assert "\x1b" not in render(result)
    coloured = render(result, colour=True)
    import re

    assert re.sub(r"\x1b\[\d+m", "", coloured) == render(result)
    assert coloured.count("\x1b[0m") > 0


def test_the_last_line_counts() -> None:
    diagnostics = Diagnostics()
    assert render(diagnostics.all) == ""
    diagnostics.add("unexpected-text", None, found="x", expected="y")
    assert render(diagnostics.all).endswith("\n\n1 error\n")
    diagnostics.add("stray-brace", None)
    diagnostics.add("more-mistakes", None, shown=3)
    assert summary(diagnostics.all) == "2 errors, 1 note"


def test_a_finding_without_a_place_is_one_line_and_its_hint() -> None:
    diagnostics = Diagnostics()
    diagnostics.add("stray-brace", None)
    first, hint, *_ = render(diagnostics.all).split("\n")
    assert first == "error PL105 stray-brace: this `}` closes nothing"
    assert hint.strip().startswith("hint: ")
