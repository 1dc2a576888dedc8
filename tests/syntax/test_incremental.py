"""Parsing versions of a text gives what parsing each of them whole gives."""

from __future__ import annotations

import random

import pytest

from plica.diagnostics import Diagnostics
from plica.source import Source
from plica.syntax.incremental import IncrementalParser
from plica.syntax.parser import parse
from tests.support.data import ROOT

PIECES = (
    "", "}", "{", '"', "driver ", "both", "\n", "//", " ", "parameter a ", "each x in a {", "combine f = ",
    "left", "reads", ".", ",", "(", "1", "deg", "override ", "use \"a\" ",
)  # fmt: skip
SPECS = sorted((ROOT / "specs").rglob("*.plica"))


@pytest.mark.parametrize("seed", range(12))
def test_a_text_being_written_parses_as_if_it_were_whole(seed: int) -> None:
    chance = random.Random(seed)
    text = chance.choice(SPECS).read_text("utf-8")
    parser = IncrementalParser()
    for _ in range(20):
        start = chance.randrange(len(text))
        text = text[:start] + chance.choice(PIECES) + text[start + chance.choice((0, 0, 1, 5, 30)) :]
        source, ours, whole = Source("a.plica", text), Diagnostics(), Diagnostics()
        assert parser.parse(source, ours) == parse(source, whole)
        assert ours.all == whole.all


def test_only_what_changed_is_parsed_again() -> None:
    first = "plica 1\ncurve a = smooth\ncurve b = linear\n"
    parser = IncrementalParser()
    before = parser.parse(Source("a.plica", first), Diagnostics()).declarations
    after = parser.parse(Source("a.plica", first.replace("smooth", "ease")), Diagnostics()).declarations
    assert before[1].start == after[1].start + 2
    later = parser.parse(Source("a.plica", first.replace("smooth", "ease").replace("linear", "ease-in")), Diagnostics())
    assert later.declarations[0] is after[0]


@pytest.mark.parametrize(
    "declaration",
    [
        "pose raised both { at elbow 1 }",
        "override pose raised left {\n at about x of arm 3 deg }",
        "pose raised{at elbow 1}",
        "each word in a, b { pose {word}_up { at elbow 1 } }",
        "expect { volume of a within 4 % over elbow,\n pose raised }",
        "expect { volume of a within 4 % over elbow,\n pose raised, pose other }",
    ],
)
def test_a_pose_begins_a_declaration_and_not_within_an_expectation(declaration: str) -> None:
    """Mistakes before and after it are found each, and nothing else is wrong."""
    text = f"plica 1\nregion a {{ skn of b }}\n{declaration}\ndriver c {{ reds bend of d }}\n"
    source, ours, whole = Source("a.plica", text), Diagnostics(), Diagnostics()
    document = parse(source, whole)
    assert [source.text[one.span.start : one.span.end] for one in whole.all if one.span] == ["skn", "reds"]
    assert [text[node.start : node.end] for node in document.declarations] == [declaration]
    assert IncrementalParser().parse(source, ours) == document
    assert ours.all == whole.all


def test_a_pose_is_parsed_again_only_when_it_changed() -> None:
    first = "plica 1\ncurve a = smooth\npose raised { at elbow 1 }\n"
    parser = IncrementalParser()
    before = parser.parse(Source("a.plica", first), Diagnostics()).declarations
    after = parser.parse(Source("a.plica", first.replace("1 }", "0.5 }")), Diagnostics()).declarations
    assert len(before) == len(after) == 2
    assert after[0] is before[0]
