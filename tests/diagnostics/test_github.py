"""Findings as workflow commands."""

from __future__ import annotations

from plica.diagnostics import Diagnostics
from plica.diagnostics.github import render
from plica.source import Source, Span


def test_a_place_on_one_line() -> None:
    diagnostics = Diagnostics()
    diagnostics.add("unexpected-text", Span(Source("a.plica", "ab\ncde f\n"), 3, 6), found="cde", expected="y")
    assert render(diagnostics.all) == (
        "::error file=a.plica,line=2,endLine=2,col=1,endColumn=3,title=PL101 unexpected-text"
        "::`cde` cannot stand here; expected y\n"
    )


def test_a_place_over_lines_has_no_columns() -> None:
    diagnostics = Diagnostics()
    diagnostics.add("unexpected-text", Span(Source("a.plica", "ab\ncde f\n"), 0, 6), found="c", expected="y")
    assert render(diagnostics.all).startswith("::error file=a.plica,line=1,endLine=2,title=")


def test_severities() -> None:
    diagnostics = Diagnostics()
    diagnostics.add("more-mistakes", None, shown=2)
    assert render(diagnostics.all).startswith("::notice title=PL111 more-mistakes::")


def test_escapes() -> None:
    """The escapes are those of GitHub's documentation of workflow commands (its toolkit's escapeData and
    escapeProperty): `%` in data, also `:` and `,` in properties. From memory. Line ends of a value are shown.
    """
    diagnostics = Diagnostics()
    source = Source("a:b,c%d.plica", "x")
    diagnostics.add("unexpected-text", Span(source, 0, 1), found="50%", expected="a, b: c\r\nd")
    line = render(diagnostics.all)
    assert line.count("\n") == 1
    assert "file=a%3Ab%2Cc%25d.plica," in line
    assert line.endswith("::`50%25` cannot stand here; expected a, b: c\\r\\nd\n")
