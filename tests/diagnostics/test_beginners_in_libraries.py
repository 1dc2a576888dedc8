"""What beginners write of combinations, copies, controls, libraries, `accept` and folds, and other languages' words.

The mistakes were made up by us, after those of `test_beginners.py` and apart from them. Each is one error, at its
place, with a hint.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.diagnostics.test_beginners import (  # noqa: F401 - with a fixture
    HAND,
    Mistake,
    W,
    assert_one_error,
    demo,
)

MISTAKES = (
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
