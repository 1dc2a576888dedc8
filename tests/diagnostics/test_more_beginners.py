"""More of what beginners write: units, signs, quotes, order, copies, names, spans, curves, libraries and `accept`.

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
    Mistake("combines itself", W, "least(fist, sum(wrist, elbow_bend))", "least(grasp, wrist)", "cycle", "grasp"),
    Mistake(
        "combines in a ring",
        W,
        "combine fist  both = product(index_base,",
        "combine fist  both = product(grasp,",
        "cycle",
        "fist",
    ),
    Mistake(
        "copied driver",
        W,
        "driver head_turn both {",
        "driver head_turn both { reads bend of head span 0 deg .. 9 deg }\ndriver head_turn both {",
        "duplicate-name",
        "head_turn both { reads rotation",
    ),
    Mistake(
        "copied sample",
        W,
        "sample  forward  at about y in model -70 deg",
        "sample  raised  at about y in model -70 deg",
        "duplicate-name",
        "shoulder",
    ),
    Mistake(
        "control in degrees", W, "range 0 .. 1   rest 0", "range 0 deg .. 90 deg   rest 0", "unit-not-wanted", "0 deg"
    ),
    Mistake("control's range turned", W, "range 0 .. 1   rest 0", "range 1 .. 0   rest 0", "empty-range", "range 1"),
    Mistake(
        "rest beyond the range", W, "range 0 .. 1   rest 0", "range 0 .. 1   rest 2", "rest-out-of-range", "rest 2"
    ),
    Mistake("control on both sides read", W, "reads control sniff", "reads control snif", "unknown-name", "snif"),
    Mistake("reads the driver", W, "reads control sniff", "reads control head_turn", "unknown-name", "head_turn"),
    Mistake(
        "posed beyond one", W, "posed at knee_bend 1 ", "posed at knee_bend 120 deg ", "unit-not-wanted", "120 deg"
    ),
    Mistake("posed in percent", W, "posed at knee_bend 1 ", "posed at knee_bend 100 % ", "unit-not-wanted", "100 %"),
    Mistake("posed without a number", W, "posed at knee_bend 1 ", "posed at knee_bend ", "unexpected-text", "follows"),
    Mistake(
        "inbetween at its end", HAND, "inbetween  0.35 ", "inbetween  1 ", "inbetween-out-of-range", "inbetween  1"
    ),
    Mistake(
        "accept without a reason",
        W,
        "    tolerance  0.01 mm",
        "    accept unused-name\n    tolerance  0.01 mm",
        "unexpected-text",
        "tolerance",
    ),
    Mistake(
        "accept a misspelt rule",
        W,
        "    tolerance  0.01 mm",
        '    accept unused-nam because "later"\n    tolerance  0.01 mm',
        "unknown-rule",
        "accept unused-nam",
    ),
    Mistake(
        "accept a code",
        W,
        "    tolerance  0.01 mm",
        '    accept PL217 because "later"\n    tolerance  0.01 mm',
        "unexpected-text",
        "PL217",
    ),
    Mistake(
        "accept an error",
        W,
        "    tolerance  0.01 mm",
        '    accept unknown-joint because "later"\n    tolerance  0.01 mm',
        "error-accepted",
        "accept unknown-joint",
    ),
    Mistake(
        "library that uses itself",
        HAND,
        "curve knuckle =",
        'use "hand.plica" with { fingers = fingers }\ncurve knuckle =',
        "use-cycle",
        '"hand.plica"',
    ),
    Mistake(
        "argument twice",
        W,
        "pad   = browpad",
        "pad   = browpad\n    pad   = browpad",
        "duplicate-fact",
        "pad   = browpad\n    lift",
    ),
    Mistake(
        "list for one",
        W,
        "{ joint = lowerleg ",
        "{ joint = lowerleg, upperleg ",
        "list-as-one-value",
        "joint = lowerleg, upperleg",
    ),
    Mistake(
        "use without with",
        W,
        "as knee  with { joint = lowerleg ",
        "as knee  { joint = lowerleg ",
        "unexpected-text",
        "{",
    ),
    Mistake(
        "library twice without a prefix",
        W,
        'use "library/limb.plica" as knee  with',
        'use "library/limb.plica" as knee with { joint = foot }\nuse "library/limb.plica" as knee  with',
        "library-twice",
        'use "library/limb.plica" as knee  with',
    ),
    Mistake(
        "placeholder of nothing",
        W,
        "driver head_turn both",
        "driver {side}_turn both",
        "unknown-placeholder",
        "{side}_turn",
    ),
    Mistake("each without in", HAND, "each finger in fingers {", "each finger fingers {", "unexpected-text", "fingers"),
    Mistake(
        "each over a misspelt list",
        HAND,
        "each finger in fingers {",
        "each finger in fingres {",
        "unknown-placeholder",
        "fingres",
    ),
    Mistake("parameter in braces", HAND, "parameter curl ", "parameter {curl} ", "not-a-name", "{curl}"),
    Mistake(
        "override without a kind", W, "override driver knee_bend", "override knee_bend", "unexpected-text", "knee_bend"
    ),
    Mistake(
        "override of a fact that is none",
        W,
        "    span  0 deg .. 112 deg\n",
        "    spam  0 deg .. 112 deg\n",
        "unexpected-text",
        "spam",
    ),
    Mistake("paint without a file", W, 'painted "masks/muzzle.png"', "painted", "unexpected-text", "}"),
    Mistake(
        "region of nothing", W, "difference of shank, foot", "difference of shank", "too-few-regions", "difference of"
    ),
    Mistake(
        "region of joints",
        W,
        "intersection of upperarm, flank",
        "intersection of upperarm, spine_3",
        "unknown-name",
        "spine_3",
    ),
    Mistake("budget in kB", W, "budget 2 MiB", "budget 2048 kB", "unknown-unit", "kB"),
    Mistake("budget without unit", W, "budget 2 MiB", "budget 2", "missing-unit", "2"),
    Mistake("budget of nothing", W, "budget 2 MiB", "budget 0 MiB", "not-positive", "budget 0"),
    Mistake(
        "tolerance of a fold bare",
        W,
        "    follows    nose\n    tolerance  8 %",
        "    follows    nose\n    tolerance  8",
        "missing-unit",
        "8",
    ),
    Mistake(
        "tolerance of a fold above all",
        W,
        "    follows    nose\n    tolerance  8 %",
        "    follows    nose\n    tolerance  800 %",
        "share-out-of-range",
        "tolerance  800",
    ),
    Mistake(
        "title with a quote",
        W,
        '"Wren, the otter who runs the river post"',
        '"Wren, the "otter" who runs the river post"',
        "unexpected-text",
        "otter",
    ),
    Mistake(
        "note without quotes",
        W,
        'note  "An old boat-hook scar keeps it stiff."',
        "note  An old boat-hook scar keeps it stiff.",
        "unexpected-text",
        "An",
    ),
    Mistake("python text", W, "plica 1\n", "import plica\n", "missing-version", ""),
    Mistake("trailing comma", W, "sum(wrist, elbow_bend)", "sum(wrist, elbow_bend,)", "unexpected-text", ")"),
    Mistake("dollar placeholder", HAND, "span   0 deg .. {curl}", "span   0 deg .. ${curl}", "unexpected-text", "$"),
    Mistake(
        "angle bracket placeholder", HAND, "span   0 deg .. {curl}", "span   0 deg .. <curl>", "unexpected-text", "<"
    ),
    Mistake("if", W, "driver head_turn both {", "if head_turn {", "unexpected-text", "if"),
    Mistake(
        "not-equal axis",
        W,
        "offset y in model of whiskerpad",
        "offset up in model of whiskerpad",
        "unexpected-text",
        "up",
    ),
    Mistake(
        "space misspelt",
        W,
        "offset y in model of whiskerpad",
        "offset y in world of whiskerpad",
        "unexpected-text",
        "world",
    ),
    Mistake("axis by number", W, "rotation about y of head", "rotation about 1 of head", "unexpected-text", "1"),
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
