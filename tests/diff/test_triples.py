"""Triples of old text, new text and what is told of the change: the third is a golden file.

`PLICA_UPDATE_GOLDEN=1` writes it anew; read the difference before it is committed.
"""

from __future__ import annotations

import os
import re
from functools import cache

import pytest

from plica.diff.character_state import CharacterState
from plica.diff.character_states import state_of
from plica.diff.comparison import compare
from plica.diff.report import Report
from plica.diff.text_report import render
from plica.diff.verdicts import REACHES, Harm
from tests.support.data import ROOT
from tests.support.texts import compiled

CASES = ROOT / "tests" / "diff" / "cases"

OLD = """
driver elbow both {
    reads  rotation about z of lowerarm
    span   0 deg .. 130 deg
    curve  0 0, 0.5 0.35, 1 1
}
driver wrist both { reads bend of paw   span 0 deg .. 70 deg }
region forearm both { skin of lowerarm   feather 12 mm }
shape swell both { sculpt "swell.npz" posed at elbow 1   within forearm   follows elbow }
combine press both = product(elbow, wrist)
detail fur { relaxed "r.png"   contracted "c.png"   budget 2 MiB }
fold veins both { in fur   area forearm   follows press }
expect both { volume of forearm within 4 %   over elbow }
"""

# Name of the case: what is replaced by what.
EDITS: dict[str, list[tuple[str, str]]] = {
    "span": [("0 deg .. 130 deg", "0 deg .. 120 deg")],
    "span_from_elsewhere": [("0 deg .. 130 deg", "10 deg .. 130 deg")],
    "direction": [("0 deg .. 130 deg", "0 deg .. -130 deg")],
    "curve": [("0.5 0.35", "0.5 0.2")],
    "axis": [("about z of lowerarm", "about y of lowerarm")],
    "one_side": [("combine press", "override driver elbow right { span 0 deg .. 110 deg }\ncombine press")],
    "removed": [('shape swell both { sculpt "swell.npz" posed at elbow 1   within forearm   follows elbow }\n', "")],
    "added": [("combine press", "driver nod { reads bend of head   span 0 deg .. 40 deg }\ncombine press")],
    "renamed": [("shape swell both {", "shape bulge both { renamed from swell  ")],
    "renamed_silently": [("shape swell both", "shape bulge both")],
    "follows": [("within forearm   follows elbow", "within forearm   follows wrist")],
    "combination": [("product(elbow, wrist)", "greatest(elbow, wrist)")],
    "feather": [("feather 12 mm", "feather 20 mm")],
    "budget": [("2 MiB", "3 MiB")],
    "loosened": [("within 4 %", "within 8 %")],
    "fewer_poses": [("within 4 %   over elbow }", "within 4 %   over wrist }")],
    "tightened": [("within 4 %", "within 3 %")],
    "mask_tolerance": [("area forearm   follows press }", "area forearm   follows press   tolerance 2 % }")],
    "rest": [("0 deg .. 130 deg", "-10 deg .. 130 deg")],
    "dropped": [("expect both { volume of forearm within 4 %   over elbow }\n", "")],
    "note": [("span   0 deg .. 130 deg", 'span   0 deg .. 130 deg\n    note "measured at the weir"')],
    "layout": [("    reads  rotation", "  reads rotation"), ("curve  0 0", "curve 0 0")],
    "comment": [("    reads  rotation", "  // a comment\n  reads rotation")],
    "accepted": [("span   0 deg", 'accept unused-name because "for the picture"\n    span   0 deg')],
}

CONTROLLED = (
    OLD
    + """
control blink both { range -1 .. 1   rest 0 }
control frown { range -1 .. 1   rest 0 }
driver lid both { reads control blink   span 0 .. 1 }
driver knit { reads control frown   span 0 .. 1   unclamped }
field reach both { reads rotation of upperarm   sample up at about z 60 deg   sample down at about z -30 deg }
combine tension both = sum(elbow, wrist, lid)
"""
)

# The same for what strengths are made of, beyond spans and in other motions.
EDITS_OF_STRENGTHS: dict[str, list[tuple[str, str]]] = {
    "unclamped": [("curve  0 0, 0.5 0.35, 1 1", "curve  0 0, 0.5 0.35, 1 1\n    unclamped")],
    "clamped": [("span 0 .. 1   unclamped", "span 0 .. 1")],
    "reading_bend": [("reads bend of paw", "reads rotation about z of paw")],
    "reading_kind": [("rotation about z of lowerarm", "euler z order xyz of lowerarm")],
    "reading_joint": [("reads bend of paw", "reads bend of head")],
    "reading_control": [("reads control blink", "reads control frown")],
    "control_rest": [("blink both { range -1 .. 1   rest 0", "blink both { range -1 .. 1   rest 0.25")],
    "control_range": [("blink both { range -1 .. 1", "blink both { range -0.5 .. 1")],
    "sample_turned": [("about z 60 deg", "about z 75 deg")],
    "parts_swapped": [("product(elbow, wrist)", "product(wrist, elbow)")],
    "sum_of_more": [("sum(elbow, wrist, lid)", "sum(elbow, wrist, wrist, lid)")],
    "two_parts_of_a_sum": [("0 deg .. 70 deg", "0 deg .. 60 deg"), ("0 deg .. 130 deg", "0 deg .. 110 deg")],
}

POSED = (
    OLD
    + """
pose reaching both { at elbow 1, about x of upperarm 20 deg   at about y of upperarm 5 deg }
pose resting { at left wrist 0.5 }
expect both { squeeze of forearm at most 10 %   over elbow, pose reaching }
expect both { stretch of forearm uv "TEXCOORD_0" at most 60 % on 90 %   over pose reaching }
expect      { smooth left elbow within 10 %   over pose resting }
"""
)

# The same for poses and what is measured over them.
EDITS_OF_POSES: dict[str, list[tuple[str, str]]] = {
    "pose_turned": [("about x of upperarm 20 deg", "about x of upperarm 35 deg")],
    "pose_axis": [("about x of upperarm 20 deg", "about z of upperarm 20 deg")],
    "pose_strength": [("{ at elbow 1,", "{ at elbow 0.75,")],
    "pose_parts": [("{ at elbow 1, about x of upperarm 20 deg", "{ at wrist 0.5, about x of upperarm 20 deg")],
    "pose_order": [
        (
            "about x of upperarm 20 deg   at about y of upperarm 5 deg",
            "about y of upperarm 5 deg   at about x of upperarm 20 deg",
        )
    ],
    "pose_one_side": [("pose resting {", "override pose reaching right { at elbow 0.5 }\npose resting {")],
    "pose_renamed": [
        ("pose reaching both {", "pose stretching both { renamed from reaching  "),
        ("pose reaching", "pose stretching"),
    ],
    "pose_renamed_and_turned": [
        (
            "pose reaching both { at elbow 1, about x of upperarm 20 deg",
            "pose stretching both { renamed from reaching   at elbow 1, about x of upperarm 25 deg",
        ),
        ("pose reaching", "pose stretching"),
    ],
    "pose_of_renamed_strength": [
        ("driver elbow both {", "driver hinge both {\n    renamed from elbow"),
        ("at elbow 1   within forearm   follows elbow", "at hinge 1   within forearm   follows hinge"),
        ("(elbow, wrist)", "(hinge, wrist)"),
        ("over elbow }", "over hinge }"),
        ("{ at elbow 1,", "{ at hinge 0.5,"),
        ("over elbow, pose", "over hinge, pose"),
        ("left elbow within", "left hinge within"),
    ],
    "pose_no_longer_over": [("over elbow, pose reaching", "over elbow")],
    "pose_replaced_in_over": [("over elbow, pose reaching", "over elbow, wrist")],
    "pose_alone_no_longer_over": [("at most 60 % on 90 %   over pose reaching", "at most 60 % on 90 %")],
    "pose_of_smooth_no_longer_over": [("within 10 %   over pose resting", "within 10 %")],
    "pose_added_to_over": [("4 %   over elbow", "4 %   over elbow, pose resting")],
    "squeeze_raised": [("at most 10 %", "at most 15 %")],
    "share_lowered": [("at most 10 %", "at most 10 % on 98 %")],
    "share_raised": [("at most 60 % on 90 %", "at most 60 % on 95 %")],
    "share_dropped": [("at most 60 % on 90 %", "at most 60 %")],
    "border_moved": [("squeeze of forearm", "squeeze of forearm border 80 %")],
    "uv_of_stretch": [('"TEXCOORD_0"', '"TEXCOORD_1"')],
    "uv_of_stretch_dropped": [('uv "TEXCOORD_0" ', "")],
}


def report_of(edits: list[tuple[str, str]], old: str = OLD) -> Report:
    """What is told of the edits; several tests look at the same ones."""
    return _report_of(tuple(edits), old)


@cache
def _report_of(edits: tuple[tuple[str, str], ...], old: str) -> Report:
    new = old
    for before, after in edits:
        assert before in new
        new = new.replace(before, after)
    states = []
    for text in (old, new):
        result = compiled(text)
        assert result.rig is not None, [found.message for found in result.diagnostics]
        states.append({"": state_of(result, "otter.plica")})
    return compare(*states)


CASES_OF = ((EDITS, OLD), (EDITS_OF_POSES, POSED), (EDITS_OF_STRENGTHS, CONTROLLED))


@pytest.mark.parametrize("name", [name for edits, _ in CASES_OF for name in edits])
def test_what_is_told_of_a_change(name: str) -> None:
    edits, old = next((edits[name], old) for edits, old in CASES_OF if name in edits)
    text = render(report_of(edits, old))
    golden = CASES / f"{name}.txt"
    if os.environ.get("PLICA_UPDATE_GOLDEN"):
        golden.parent.mkdir(exist_ok=True)
        golden.write_text(text, "utf-8")
    assert text == golden.read_text("utf-8")


def test_every_harm_and_all_that_can_be_reached_occur() -> None:
    changes = [change for edits in EDITS.values() for change in report_of(edits).changes]
    assert {change.harm for change in changes} == set(Harm)
    assert {reach for change in changes for reach in change.reaches} == set(REACHES)


@pytest.mark.parametrize("name", ["loosened", "dropped", "fewer_poses"])
def test_what_need_not_hold_any_more_is_said_loudly(name: str) -> None:
    assert re.search("EXPECTATION (LOOSENED|DROPPED)", render(report_of(EDITS[name])))


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("pose_no_longer_over", "EXPECTATION LOOSENED: fewer poses"),
        ("pose_replaced_in_over", "EXPECTATION LOOSENED: fewer poses"),
        ("pose_of_smooth_no_longer_over", "EXPECTATION LOOSENED: fewer poses"),
        ("squeeze_raised", "EXPECTATION LOOSENED: 10 % → 15 %"),
        ("share_lowered", "EXPECTATION LOOSENED: everywhere → on 98 %"),
        ("border_moved", "EXPECTATION CHANGED: border of the region 50 % → 80 %"),
        ("uv_of_stretch", "EXPECTATION CHANGED"),
    ],
)
def test_what_a_pose_need_not_hold_any_more_is_said_loudly(name: str, word: str) -> None:
    report = report_of(EDITS_OF_POSES[name], POSED)
    assert word in render(report)
    assert [(change.harm, change.reaches) for change in report.changes] == [(Harm.RISKY, ("geometry",))]


@pytest.mark.parametrize(
    ("name", "word"), [("share_raised", "on 90 % → on 95 %"), ("share_dropped", "on 90 % → everywhere")]
)
def test_more_of_the_area_is_a_tighter_expectation(name: str, word: str) -> None:
    report = report_of(EDITS_OF_POSES[name], POSED)
    assert f"tightened: {word}" in render(report)
    assert {change.harm for change in report.changes} == {Harm.SAFE}


def test_without_a_list_everything_is_gone_over_poses_too() -> None:
    """So that a pose that is not listed any more is still looked at, but by the measures of strengths."""
    change = report_of(EDITS_OF_POSES["pose_alone_no_longer_over"], POSED).changes[0]
    assert change.harm is Harm.SAFE


@pytest.mark.parametrize("name", ["pose_turned", "pose_axis", "pose_strength", "pose_parts", "pose_order"])
def test_a_changed_pose_reaches_geometry(name: str) -> None:
    changes = report_of(EDITS_OF_POSES[name], POSED).changes
    assert [(change.kind, change.what, change.harm, change.reaches) for change in changes] == [
        ("pose", "changed", Harm.RISKY, ("geometry",))
    ]


def test_nothing_but_the_order_of_parts_leaves_strengths_the_same() -> None:
    """What is computed differs for all of the others, so that none of them may be called cosmetic."""
    for name, edits in EDITS_OF_STRENGTHS.items():
        harms = {change.harm for change in report_of(edits, CONTROLLED).changes}
        assert (Harm.COSMETIC in harms) == (name == "parts_swapped"), name


def test_layout_is_no_change_and_comments_are_shown() -> None:
    assert report_of(EDITS["layout"]).changes == ()
    (change,) = report_of(EDITS["comment"]).changes
    assert (change.harm, change.reaches) == (Harm.COSMETIC, ("words",))
    assert change.verdicts[0].lines == ("+ // a comment",)


def test_a_stated_rename_is_one_change_and_a_silent_one_gets_a_hint() -> None:
    assert [change.what for change in report_of(EDITS["renamed"]).changes] == ["renamed"]
    silent = report_of(EDITS["renamed_silently"]).changes
    assert sorted(change.what for change in silent) == ["added", "removed"]
    assert any(change.hint for change in silent)


def test_the_effect_is_computed_not_read_off_the_text() -> None:
    """A straight driver over 0..100 instead of 0..50 degrees loses at most 0.5, at 50 degrees."""
    change = report_of([("0 deg .. 70 deg", "0 deg .. 140 deg")]).changes[0]
    assert change.effect is not None
    assert "0.5" in render(report_of([("0 deg .. 70 deg", "0 deg .. 140 deg")]))


def cause_titles(edits: list[tuple[str, str]], old: str) -> list[list[str]]:
    return [
        [change.title for change in entry.changes] for entry in report_of(edits, old).entries if len(entry.changes) > 1
    ]


def test_a_line_of_a_family_that_shows_twice_is_one_cause() -> None:
    """Of two drivers as of many; what shows once is no cause, and what is gone is none of what is there."""
    family = "each part in head, spine {\n driver {part}_bend { reads bend of {part}  span 0 deg .. 60 deg }\n}\n"
    edit = [("0 deg .. 60 deg", "0 deg .. 50 deg")]
    assert cause_titles(edit, family) == [["driver head_bend", "driver spine_bend"]]
    assert cause_titles(edit, family.replace("head, spine", "head")) == []


def test_an_alias_is_known_by_what_clips_call_the_joint() -> None:
    rigs = [compiled("", f'alias "Arm" = {joint}') for joint in ("upperarm_lf", "lowerarm_lf")]
    states = [
        {"": CharacterState("otter.plica", result.rig, result.origins)} for result in rigs if result.rig is not None
    ]
    (change,) = compare(*states).changes
    assert (change.kind, change.declared, change.what) == ("alias", "Arm", "changed")


def test_the_samples_of_a_renamed_field_are_the_same_samples() -> None:
    old = """
field reach both {
    reads  rotation of upperarm
    sample up    at about z 60 deg
    sample down  at about z -30 deg
}
shape swell both { sculpt "swell.npz"   follows reach.up }
"""
    edits = [
        ("field reach both {", "field lift both {\n    renamed from reach"),
        ("follows reach.up", "follows lift.up"),
    ]
    assert {(change.kind, change.declared, change.what) for change in report_of(edits, old).changes} == {
        ("field", "lift", "renamed"),
        ("sample", "lift.up", "renamed"),
        ("sample", "lift.down", "renamed"),
    }
