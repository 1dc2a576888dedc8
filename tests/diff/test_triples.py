"""Triples of old text, new text and what is told of the change: the third is a golden file.

`PLICA_UPDATE_GOLDEN=1` writes it anew; read the difference before it is committed.
"""

from __future__ import annotations

import os
import re

import pytest

from plica.diff.judge import REACHES, Harm
from plica.diff.markdown import render as as_markdown
from plica.diff.report import Report, compare
from plica.diff.text import render
from plica.diff.version import Version
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
    "layout": [("    reads  rotation", "  // a comment\n  reads rotation"), ("curve  0 0", "curve 0 0")],
}


def report_of(edits: list[tuple[str, str]]) -> Report:
    """What is told of the edits."""
    new = OLD
    for before, after in edits:
        assert before in new
        new = new.replace(before, after)
    states = []
    for text in (OLD, new):
        result = compiled(text)
        assert result.rig is not None and result.spec is not None, [found.message for found in result.diagnostics]
        origins = {**result.origins, ("character", "otter"): result.spec.character.span}
        states.append({"": Version("otter.plica", result.rig, origins)})
    return compare(*states)


@pytest.mark.parametrize("name", EDITS)
def test_what_is_told_of_a_change(name: str) -> None:
    text = render(report_of(EDITS[name]))
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


def test_layout_and_comments_are_no_change() -> None:
    assert report_of(EDITS["layout"]).changes == ()


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


def test_markdown_draws_both_curves() -> None:
    assert "data:image/svg+xml" in as_markdown(report_of(EDITS["curve"]))
