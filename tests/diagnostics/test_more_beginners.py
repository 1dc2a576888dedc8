"""More of what beginners write: units, signs, quotes, names, spans, curves, expectations and files.

The mistakes were made up by us, after those of `test_beginners.py` and apart from them. Each is one error, at its
place, with a hint.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.diagnostics import Severity
from plica.pipeline import compile_file
from tests.diagnostics.test_beginners import (  # noqa: F401 - with a fixture
    HAND,
    Mistake,
    W,
    assert_one_error,
    demo,
)

MISTAKES = (
    Mistake("dots in one number", W, "span   10 deg .. 80 deg", "span   10..80 deg", "missing-unit", "10"),
    Mistake("ellipsis sign", W, "span   10 deg .. 80 deg", "span   10 deg … 80 deg", "unexpected-text", "…"),
    Mistake(
        "radians for degrees", W, "span 5 deg .. 60 deg", "span 0.09 rad .. 60 rad", "span-out-of-reach", "span 0.09"
    ),
    Mistake("turned round unit", W, "span 5 deg .. 60 deg", "span deg 5 .. deg 60", "unexpected-text", "deg 5"),
    Mistake("one end only", W, "span 5 deg .. 60 deg", "span 60 deg", "unexpected-text", "}"),
    Mistake("three ends", W, "span 5 deg .. 60 deg", "span 0 deg .. 30 deg .. 60 deg", "unexpected-text", ".. 60 deg"),
    Mistake("capital unit", W, "feather 12 mm", "feather 12 MM", "unknown-unit", "MM"),
    Mistake("millimetres in full", W, "feather 12 mm", "feather 12 millimeters", "unknown-unit", "millimeters"),
    Mistake("inch sign", W, "feather 12 mm", 'feather 12"', "unclosed-text", '"'),
    Mistake("pixels", W, "feather 12 mm", "feather 12 px", "unknown-unit", "px"),
    Mistake("negative feather", W, "feather 12 mm", "feather -12 mm", "not-positive", "feather -12"),
    Mistake("negative tolerance", W, "tolerance  0.01 mm", "tolerance  -0.01 mm", "not-positive", "tolerance  -0.01"),
    Mistake("tolerance as a share", W, "tolerance  0.01 mm", "tolerance  1 %", "wrong-dimension", "1 %"),
    Mistake("percent in a curve", W, "curve  ease-in-out", "curve  0 0, 50 % 35 %, 1 1", "unit-not-wanted", "50 %"),
    Mistake(
        "curve beyond one", W, "curve  ease-in-out", "curve  0 0, 0.5 1.4, 1 1", "curve-out-of-range", "0 0, 0.5 1.4"
    ),
    Mistake("curve that starts late", W, "curve  ease-in-out", "curve  0.2 0, 1 1", "curve-incomplete", "0.2 0"),
    Mistake(
        "curve out of order",
        W,
        "curve  ease-in-out",
        "curve  0 0, 0.7 0.4, 0.5 0.6, 1 1",
        "curve-turns-back",
        "0 0, 0.7",
    ),
    Mistake(
        "curve in parentheses", W, "curve  ease-in-out", "curve  (0, 0), (0.5, 0.35), (1, 1)", "unexpected-text", "("
    ),
    Mistake(
        "underscores in a curve's word", W, "curve  ease-in-out", "curve  ease_in_out", "unknown-name", "ease_in_out"
    ),
    Mistake(
        "curve twice in one fact", W, "curve  ease-in-out", "curve  ease-in-out smooth", "unexpected-text", "smooth"
    ),
    Mistake(
        "expectation without a limit", W, "volume of forearm within 3 %", "volume of forearm", "unexpected-text", "over"
    ),
    Mistake(
        "expectation without a region",
        W,
        "volume of forearm within 3 %",
        "volume within 3 %",
        "unexpected-text",
        "within",
    ),
    Mistake(
        "over left out",
        W,
        "within 3 %                  over elbow_bend",
        "within 3 %     elbow_bend",
        "unexpected-text",
        "elbow_bend",
    ),
    Mistake(
        "negative limit",
        W,
        "volume of forearm within 3 %",
        "volume of forearm within -3 %",
        "not-positive",
        "volume of forearm",
    ),
    Mistake("less-than sign", W, "volume of forearm within 3 %", "volume of forearm < 3 %", "unexpected-text", "<"),
    Mistake("plus-minus", W, "volume of forearm within 3 %", "volume of forearm within ±3 %", "unexpected-text", "±"),
    Mistake("clearance in degrees", W, "at least 2 mm", "at least 2 deg", "wrong-dimension", "2 deg"),
    Mistake(
        "clearance of itself",
        W,
        "clearance of paw from upperarm",
        "clearance of paw from paw",
        "compared-with-itself",
        "clearance",
    ),
    Mistake("expect a misspelt word", W, "volume of forearm", "volum of forearm", "unexpected-text", "volum"),
    Mistake("expect a shape's volume", W, "volume of forearm", "volume of knee_hold", "unknown-name", "knee_hold"),
    Mistake(
        "over a region",
        W,
        "over elbow_bend }\nexpect both { volume of calf",
        "over forearm }\nexpect both { volume of calf",
        "unknown-name",
        "forearm }",
    ),
    Mistake(
        "clip without quotes",
        W,
        'over clip "clips/rounds.glb"',
        "over clip clips/rounds.glb",
        "unexpected-text",
        "clips/",
    ),
    Mistake(
        "clip that is not there",
        W,
        'over clip "clips/rounds.glb"',
        'over clip "clips/round.glb"',
        "missing-file",
        '"clips/round.glb"',
    ),
    Mistake("folder as a file", W, '"sculpts/knee_hold.npz"', '"sculpts"', "missing-file", '"sculpts"'),
    Mistake("capital ending", W, '"wren.glb"', '"wren.GLB"', "missing-file", '"wren.GLB"'),
    Mistake(
        "model of a kind that is not read",
        W,
        '"wren.glb"',
        '"library/hand.plica"',
        "unreadable-model",
        '"library/hand.plica"',
    ),
    Mistake(
        "no quotes around a model",
        W,
        'geometry   "wren.glb" mesh',
        "geometry   wren.glb mesh",
        "unexpected-text",
        "wren.glb",
    ),
    Mistake("mesh without quotes", W, 'mesh "skin"', "mesh skin", "unexpected-text", "skin"),
    Mistake("left twice", W, '    right      "*_rt"', '    left      "*_rt"', "duplicate-fact", "left      "),
    Mistake("right left out", W, '    right      "*_rt"\n', "", "patterns-differ", "left "),
    Mistake("symmetry across a word", W, "symmetry   across x", "symmetry   across left", "unexpected-text", "left"),
    Mistake("symmetry without across", W, "symmetry   across x", "symmetry   x", "unexpected-text", "x"),
    Mistake(
        "character without a name",
        W,
        'character wren "Wren, the otter who runs the river post" {',
        "character {",
        "unexpected-text",
        "{",
    ),
    Mistake("name in quotes", W, 'character wren "Wren', 'character "wren" "Wren', "unexpected-text", '"wren"'),
    Mistake(
        "umlaut with a space", W, "shape elbow_crease both", "shape Ellbögen falte both", "unexpected-text", "falte"
    ),
    Mistake(
        "name that begins with a digit", W, "shape elbow_crease both", "shape 2nd_crease both", "unexpected-text", "2"
    ),
    Mistake("reference with both", W, "follows    nose", "follows    both nose", "unexpected-text", "nose"),
    Mistake("side written behind", W, "follows    nose", "follows    nose left", "unexpected-text", "left"),
    Mistake("side with a dot", W, "follows    nose", "follows    nose.left", "no-samples", "left"),
    Mistake(
        "joint's side in the name", W, "gap of paw from jaw", "gap of left_paw from jaw", "unknown-joint", "left_paw"
    ),
    Mistake("joint in single letters", W, "gap of paw from jaw", "gap of Paw from jaw", "unknown-joint", "Paw"),
    Mistake("gap from itself", W, "gap of paw from jaw", "gap of paw from paw", "gap-to-itself", "gap of paw"),
    Mistake("two followed", W, "follows    nose", "follows    nose, whisker_lift", "unexpected-text", ","),
    Mistake(
        "follows twice",
        W,
        "follows    nose",
        "follows    nose\n    follows    whisker_lift",
        "duplicate-fact",
        "follows    whisker_lift",
    ),
    Mistake(
        "combination of one with operator",
        W,
        "least(fist, sum(wrist, elbow_bend))",
        "least(fist, wrist + elbow_bend)",
        "unexpected-text",
        "+",
    ),
    Mistake(
        "parenthesis not closed",
        W,
        "least(fist, sum(wrist, elbow_bend))",
        "least(fist, sum(wrist, elbow_bend)",
        "unexpected-end",
        ")",
    ),
    Mistake(
        "number in a combination",
        W,
        "greatest(whisker_lift, sniffing)",
        "greatest(whisker_lift, 0.5)",
        "unexpected-text",
        "0.5",
    ),
)


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda one: one.what)
def test_a_mistake_is_told_once_at_its_place_with_a_hint(mistake: Mistake, demo: Path) -> None:  # noqa: F811
    assert_one_error(mistake, demo)


@pytest.mark.parametrize("ends", ["\r\n", "\n"])
@pytest.mark.parametrize("begin", ["", "\ufeff"])
@pytest.mark.parametrize("blank", ["    ", "\t"])
def test_what_editors_write_for_themselves_is_no_mistake(
    ends: str,
    begin: str,
    blank: str,
    demo: Path,  # noqa: F811
) -> None:
    file = demo / W
    text = file.read_text("utf-8")
    try:
        file.write_bytes((begin + text.replace("    ", blank).replace("\n", ends)).encode())
        found = compile_file(file).diagnostics
    finally:
        file.write_bytes(text.encode())
    assert not [one for one in found if one.severity is Severity.ERROR]
