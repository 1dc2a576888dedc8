"""Many names that changed in one way are one line, and hide nothing else."""

from __future__ import annotations

import pytest

from plica.diff.character_state import CharacterState
from plica.diff.comparison import compare
from plica.diff.entries import Section
from plica.diff.renamed_alike import renamed_joints, renamings_text
from plica.diff.renaming import rewritten
from plica.diff.report import Report
from plica.diff.text_report import render
from plica.kinds.reading_kind import Part
from plica.kinds.readings import READING_KINDS, joints_of
from plica.pipeline import compile_text
from plica.rig.strengths import Driver
from tests.support.texts import CHARACTER

SPEC = (
    (CHARACTER % 'alias "Arm" = lowerarm_lf')
    + """
driver elbow both { reads rotation about z of lowerarm   span 0 deg .. 130 deg }
driver wrist both { reads bend of paw   span 0 deg .. 70 deg }
driver reach both { reads gap of paw from spine   span 0 mm .. -100 mm }
driver twist both { reads rotation about x of paw from spine   span 0 deg .. 50 deg }
field shoulder both {
    reads  rotation of upperarm
    sample raised   at about z 60 deg
    sample forward  at about y 40 deg
}
combine press both = product(elbow, wrist)
region forearm both { skin of lowerarm   feather 12 mm }
shape swell both { sculpt "swell.npz" posed at about z of lowerarm 60 deg   within forearm   follows elbow }
pose reaching both { at elbow 1, about x of upperarm 20 deg }
expect both { volume of forearm within 4 %   over elbow, pose reaching }
"""
)

KINDS = (
    (CHARACTER % "")
    + """
driver swings { reads swing toward y in model of left upperarm   span 0 deg .. 60 deg }
driver turns { reads euler z order xyz of left paw   span 0 deg .. 60 deg }
driver slides { reads offset y of left paw   span 0 mm .. 60 mm }
driver grows { reads scale along x of left paw   span 0 % .. 60 % }
"""
)


def report_of(old: str, new: str) -> Report:
    states = []
    for text in (old, new):
        result = compile_text(text)
        assert result.rig is not None, [found.message for found in result.diagnostics]
        states.append({"": CharacterState("otter.plica", result.rig, result.origins)})
    return compare(*states)


def respelled(text: str) -> str:
    """The same character whose model calls its joints otherwise."""
    return (
        text.replace("_lf", "_l")
        .replace("_rt", "_r")
        .replace("joint spine at", "joint back at")
        .replace("under spine", "under back")
        .replace("from spine", "from back")
    )


def test_joints_with_other_names_and_equal_frames_are_one_line() -> None:
    report = report_of(SPEC, respelled(SPEC))
    (change,) = report.changes
    assert report.entries[0].section is Section.NAMES and change.reaches == ("names",)
    assert report.step == "major", "clips and scripts look joints up by name"
    text = render(report)
    assert "7 joints renamed, all frames the same" in text and "_lf → _l (3), _rt → _r (3), spine → back (1)" in text
    assert len(text.splitlines()) < 8


def test_a_joint_that_also_moved_is_not_only_renamed() -> None:
    new = respelled(SPEC).replace("under lowerarm_l at 20 cm", "under lowerarm_l at 21 cm")
    report = report_of(SPEC, new)
    assert any(change.kind == "joint" and change.declared == "paw_l" for change in report.changes)
    assert "6 joints renamed" in render(report)


def test_what_else_changed_is_told_beside_it() -> None:
    report = report_of(SPEC, respelled(SPEC).replace(".. 130 deg", ".. 120 deg"))
    assert [change.kind for change in report.changes] == ["driver", "shape", "joints"]
    assert "was sculpted" in report.changes[1].verdicts[0].text
    effect = report.changes[0].effect
    assert effect is not None and effect.same_reading and effect.largest == pytest.approx(1 - 12 / 13)


def test_joints_whose_frames_are_equal_to_each_other_are_not_guessed() -> None:
    twins = "        joint tail_one under spine at 0 m, 0 m, 1 m\n        joint tail_two under spine at 0 m, 0 m, 1 m\n"
    old = SPEC.replace("    }\n    symmetry", f"{twins}    }}\n    symmetry")
    new = old.replace("tail_one", "tail_a").replace("tail_two", "tail_b")
    before, after = compile_text(old).rig, compile_text(new).rig
    assert before is not None and after is not None
    assert renamed_joints(before, after) == {}


def test_every_joint_that_a_reading_names_is_renamed() -> None:
    """Of every kind that reads joints, so that none is forgotten."""
    met = set()
    for text in (SPEC, KINDS):
        rig = compile_text(text).rig
        assert rig is not None
        for driver in (one for one in rig.strengths if isinstance(one, Driver)):
            names = {joint: f"new_{joint}" for joint in joints_of(driver.reading)}
            new = rewritten(driver, {"joints": names})
            assert set(joints_of(new.reading)) == set(names.values())
            met.add(driver.reading.kind)
    assert met >= {name for name, kind in READING_KINDS.items() if kind.named(Part.JOINT)}


def test_another_pattern_of_names_is_one_line() -> None:
    report = report_of(SPEC, SPEC.replace('    right  "*_rt"', '    right  "*_rt"\n    names "{name}_{side}"'))
    (change,) = report.changes
    assert (change.kind, change.declared) == ("names", "{side}_{name} → {name}_{side}")
    assert report.entries[0].section is Section.NAMES and report.step == "major"
    assert {(field.old, field.new) for fact in change.facts for field in fact.fields} >= {
        ("left_elbow", "elbow_left"),
        ("right_shoulder_raised", "shoulder_raised_right"),
    }


def test_what_else_changed_is_told_beside_the_pattern() -> None:
    new = SPEC.replace('    right  "*_rt"', '    right  "*_rt"\n    names "{name}.{side}"').replace("12 mm", "14 mm")
    assert [change.kind for change in report_of(SPEC, new).changes] == ["region", "names"]


def test_what_became_of_names_in_a_few_words() -> None:
    assert renamings_text({"paw_lf": "paw_l", "ear_lf": "ear_l", "arm_rt": "arm_r"}) == "_lf → _l (2), _rt → _r (1)"
    assert renamings_text({"a1": "b1", "c": "d"}) == "a → b (1), c → d (1)"
    assert renamings_text({f"{one}_1": f"x{one}_1" for one in "abcdefghij"}).endswith("and 7 more")
