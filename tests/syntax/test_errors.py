"""Mistakes in the text: each is reported once, at its place, in words that help."""

from __future__ import annotations

from typing import NamedTuple

import pytest

from plica.diagnostics import Diagnostic, Diagnostics
from plica.source import Source
from plica.syntax import nodes
from plica.syntax.parser import parse
from plica.syntax.piece_by_piece import MOST_MISTAKES


class Case(NamedTuple):
    """A faulty text; what each report must be: its rule, its line, the marked text, a part of its hint."""

    text: str
    reports: list[tuple[str, int, str, str]]


def reports_of(text: str) -> tuple[nodes.Document, tuple[Diagnostic, ...]]:
    diagnostics = Diagnostics()
    document = parse(Source("spec.plica", "plica 1\n" + text), diagnostics)
    return document, diagnostics.all


def marked(diagnostic: Diagnostic) -> str:
    assert diagnostic.span is not None
    return diagnostic.span.source.text[diagnostic.span.start : diagnostic.span.end]


def line_of(diagnostic: Diagnostic) -> int:
    assert diagnostic.span is not None
    return diagnostic.span.source.line_and_column(diagnostic.span.start)[0]


DRIVER = "driver elbow both {{\n    reads {}\n    span 0 deg .. 130 deg\n}}\n"
GOOD = "region arm { skin of arm }\n"

CASES = {
    "mistyped keyword of a declaration": Case(
        "drivr elbow { reads bend of arm\n span 0 deg .. 1 deg }\n" + GOOD,
        [("unexpected-text", 2, "drivr", "`driver`")],
    ),
    "mistyped reading": Case(
        DRIVER.format("rotaton about x of arm"), [("unexpected-text", 3, "rotaton", "`rotation`")]
    ),
    "two mistakes in one declaration": Case(
        "driver elbow {\n    reads rotaton about x of arm\n    span 0 deg .. 130 degs\n}\n",
        [("unexpected-text", 3, "rotaton", "`rotation`"), ("unknown-unit", 4, "degs", "`deg`")],
    ),
    "mistakes in three declarations": Case(
        DRIVER.format("bnd of arm") + GOOD + DRIVER.format("gap off arm from hand") + "region x { skin arm }\n",
        [
            ("unexpected-text", 3, "bnd", "`bend`"),
            ("unexpected-text", 8, "off", "`of`"),
            ("unexpected-text", 11, "arm", ""),
        ],
    ),
    "a fact over two lines is reported once": Case(
        'shape swell {\n    sculpt "a.npz" posd at elbow 1,\n        wrist 1\n    follows elbow\n}\n',
        [("unexpected-text", 3, "posd", "`posed`")],
    ),
    "missing closing brace": Case(
        "driver elbow {\n    reads bend of arm\n    span 0 deg .. 1 deg\n\n" + GOOD,
        [("unclosed-block", 2, "driver", "`}`")],
    ),
    "missing closing brace at the end, after a comment": Case(
        "region arm { skin of arm // the upper one }\n", [("unclosed-block", 2, "region", "`}`")]
    ),
    "missing opening brace": Case(
        "driver elbow both\n    reads bend of arm\n    span 0 deg .. 1 deg\n}\n" + GOOD,
        [("unexpected-end", 2, "h", "")],
    ),
    "closing brace too many": Case(GOOD + "}\n" + GOOD, [("stray-brace", 3, "}", "")]),
    "each without its end": Case(
        "each f in a, b {\n    region {f} { skin of {f} }\n" + GOOD, [("unclosed-block", 2, "each", "`}`")]
    ),
    "each without its beginning": Case(
        "each f in a, b\n    region {f} { skin of {f} }\n}\n", [("unexpected-end", 2, "b", "")]
    ),
    "a mistake inside each": Case(
        "each f in a, b {\n    region {f} { skn of {f} }\n    region {f}_x { skin of {f} }\n}\n" + GOOD,
        [("unexpected-text", 3, "skn", "`skin`")],
    ),
    "a mistake in an each inside an each": Case(
        "each f in a, b {\n each g in c {\n  region {f}{g} { skn of {f} }\n }\n}\n" + GOOD,
        [("unexpected-text", 4, "skn", "`skin`")],
    ),
    "a placeholder that ends like a keyword": Case(
        "driver {f}field both { reads bend of {f}shape\n span 0 deg .. 1 dg }\n" + GOOD,
        [("unknown-unit", 3, "dg", "`deg`")],
    ),
    "quoted text without its end": Case(
        'character wren "Wren {\n    symmetry across x\n}\n' + GOOD, [("unclosed-text", 2, '"Wren {', "")]
    ),
    "a whole quoted text where none belongs": Case(
        'region "arm" { skin of arm }\n', [("unexpected-text", 2, '"arm"', "")]
    ),
    "braces in quoted texts and comments do not count": Case(
        '// { {\nregion arm { note "}}"  skin of "{" }\nregion x { skn of y } // }\n',
        [("unexpected-text", 4, "skn", "`skin`")],
    ),
    "value missing before the next declaration": Case("combine fist =\n\n" + GOOD, [("unexpected-end", 2, "=", "")]),
    "value missing at the end of the file": Case("combine fist =   \n\n// end\n", [("unexpected-end", 2, "=", "")]),
    "text after a declaration": Case(GOOD.strip() + " foo\n", [("unexpected-text", 2, "foo", "")]),
    "two declarations on one line": Case(
        "region a { skn of b } region c { skin o d }\n",
        [("unexpected-text", 2, "skn", "`skin`"), ("unexpected-text", 2, "o", "`of`")],
    ),
    "one point where two belong": Case(
        "driver elbow { reads bend of arm  span 0 deg . 1 deg }\n", [("unexpected-text", 2, ".", "`..`")]
    ),
    "side before the name": Case(
        "override driver left elbow { span 0 deg .. 1 deg }\n", [("unexpected-text", 2, "elbow", "`elbow left`")]
    ),
    "a character that cannot be printed": Case("region \x07 { }\n", [("unexpected-text", 2, "\x07", "")]),
    "keywords are whole words": Case(
        "regions arm { skin of arm }\nregion arm { skinof arm }\n",
        [("unexpected-text", 2, "regions", "`region`"), ("unexpected-text", 3, "skinof", "`skin`")],
    ),
    "feet": Case("region arm { feather 2 ft }\n", [("unknown-unit", 2, "ft", "deg, rad")]),
    "degrees in full": Case("driver a { span 0 deg .. 1 degrees }\n", [("unknown-unit", 2, "degrees", "`deg`")]),
    "the degree sign": Case("driver a { span 0 deg .. 130° }\n", [("unknown-unit", 2, "°", "`deg`")]),
    "millimetres in full": Case("region arm { feather 2 millimetres }\n", [("unknown-unit", 2, "millimetres", "`mm`")]),
    "capital letters in a unit": Case("region arm { feather 2 MM }\n", [("unknown-unit", 2, "MM", "`mm`")]),
    "a keyword after a number is no unit": Case(
        "region arm { feather 2 within }\n", [("unexpected-text", 2, "within", "")]
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_each_mistake_is_reported_once_at_its_place(name: str) -> None:
    text, expected = CASES[name]
    _, result = reports_of(text)
    assert [(one.name, line_of(one), marked(one)) for one in result] == [entry[:3] for entry in expected]
    for diagnostic, (*_, hint) in zip(result, expected, strict=True):
        assert hint in (diagnostic.hint or "")


def test_declarations_without_a_mistake_are_kept() -> None:
    document, result = reports_of(
        "region a { skin of a }\nregion b { skn of b }\neach f in x, y {\n region {f} { skin of {f} }\n"
        " region {f}_2 { skn of {f} }\n each g in z { region {g} { skin of z } }\n}\nregion c { skin of c }\n"
    )
    assert len(result) == 2
    first, each, last = document.declarations
    assert isinstance(first, nodes.Block) and first.name and first.name.text == "a"
    assert isinstance(each, nodes.Each) and len(each.declarations) == 2
    assert document.source.text[each.start] == "e" and document.source.text[each.end - 1] == "}"
    assert isinstance(last, nodes.Block) and last.name and last.name.text == "c"


def test_the_end_of_an_unclosed_block_is_pointed_at() -> None:
    _, result = reports_of("region arm {\n    skin of arm   // comment\n\n\nregion b { skin of b }\n")
    (label,) = result[0].labels
    assert label.span.place == "spec.plica:3:15"


def test_a_fix_replaces_exactly_the_mistake() -> None:
    text = "driver a { reads rotaton about x of b  span 0 deg .. 1 dg }\n"
    _, result = reports_of(text)
    fix = result[0].fix
    assert fix is not None
    source = fix.span.source.text
    assert "reads rotation about" in source[: fix.span.start] + fix.replacement + source[fix.span.end :]


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("", "missing-version"),
        ("region a { skin of a }\n", "missing-version"),
        ("plica\n", "missing-version"),
        ("plica one\n", "missing-version"),
        ("plica 1.5\n", "missing-version"),
        ("plica 1 deg\n", "missing-version"),
        ("plica 2\n", "newer-version"),
        ("plica 99999999999999999999\n", "newer-version"),
        ("plica 0\n", "unknown-version"),
    ],
)
def test_the_version_line(text: str, name: str) -> None:
    diagnostics = Diagnostics()
    document = parse(Source("spec.plica", text), diagnostics)
    assert [one.name for one in diagnostics.all] == [name]
    assert document.declarations == ()


@pytest.mark.parametrize("text", ["plica 1", "// hello\n\nplica 1 // one\n", "\r\nplica\t1\r\n"])
def test_a_version_line_alone_is_a_file(text: str) -> None:
    diagnostics = Diagnostics()
    parse(Source("spec.plica", text), diagnostics)
    assert diagnostics.all == ()


def test_a_file_full_of_mistakes_is_cut_short() -> None:
    _, result = reports_of("region a { skn of b }\n" * (MOST_MISTAKES + 50))
    assert sum(one.name == "unexpected-text" for one in result) == MOST_MISTAKES
    assert [one.name for one in result if one.name == "more-mistakes"] == ["more-mistakes"]


def test_combinations_nested_too_deeply_are_refused() -> None:
    _, result = reports_of("combine a = " + "sum(" * 5000 + "b" + ")" * 5000 + "\n")
    assert [one.name for one in result] == ["nested-too-deeply"]
    _, result = reports_of("combine a = " + "sum(" * 40 + "b" + ")" * 40 + "\n")
    assert result == ()


def test_every_report_lists_what_could_stand_there_without_names_of_terminals() -> None:
    for text, _ in CASES.values():
        for diagnostic in reports_of(text)[1]:
            assert "something else" not in diagnostic.message
            assert "__" not in diagnostic.message
            for terminal in ("LBRACE", "SIDE", "QUANTITY", "$END", "STRING"):
                assert terminal not in diagnostic.message
