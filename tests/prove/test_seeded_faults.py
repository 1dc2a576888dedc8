"""Faults put into a good character: each is found by the expectation that is meant for it, and by no other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plica.mesh.inbetweens import Inbetweens
from plica.mesh.model import Offsets
from plica.prove.engine import Prover, Subject
from plica.prove.results import Result
from plica.prove.sweeps import Sweeper, Track
from tests.support.arms import ELBOW, SHAPE, Arms, arms

EXPECTED = """
expect both { volume of forearm within 2 % over elbow   girth of forearm within 15 % over elbow }
expect both { stretch of forearm at most 80 % over elbow   shear of forearm at most 80 deg over elbow }
expect both { smooth elbow, turn within 0.1   reach elbow, turn   moved of hold at most 200 }
expect { rest   partition   even within 0.001 }
"""
TURN = "driver turn both { reads rotation about x of paw   span 0 deg .. 80 deg }\n"
GOOD = ELBOW + TURN + SHAPE + EXPECTED


def proven(made: Arms) -> dict[str, Result]:
    """Every result by its title."""
    return {result.title: result for result in Prover(Subject(made.rig, made.attached)).results()}


def failing(made: Arms) -> set[str]:
    """What does not hold; nothing may be left unmeasured."""
    results = proven(made)
    assert {result.title for result in results.values() if result.status == "not measured"} == set()
    return {title for title, result in results.items() if result.status == "fails"}


def test_a_good_character_holds_and_its_shape_is_what_makes_it() -> None:
    results = proven(arms(GOOD))
    assert {title for title, result in results.items() if result.status != "holds"} == set()
    volume = results["volume of left_forearm over left_elbow"]
    assert volume.worst is not None and volume.bare is not None and volume.limit is not None
    assert volume.worst < volume.limit < volume.bare


def test_both_sides_of_a_mirrored_character_give_the_same_figures() -> None:
    results = proven(arms(GOOD))
    for title, result in results.items():
        if "left_" in title and result.expectation.kind in ("volume", "girth", "stretch", "shear"):
            other = results[title.replace("left_", "right_")]
            assert result.worst == pytest.approx(other.worst, rel=1e-9)
            assert result.bare == pytest.approx(other.bare, rel=1e-9)


def test_a_shape_sculpted_too_strong() -> None:
    sides = {f"volume of {side}_forearm over {side}_elbow" for side in ("left", "right")}
    assert failing(arms(GOOD, strength=2.0)) == sides


def test_a_missing_shape_is_found_where_its_help_is_missed() -> None:
    sides = {f"volume of {side}_forearm over {side}_elbow" for side in ("left", "right")}
    assert failing(arms(GOOD, strength=1e-9)) == sides


def test_a_flipped_side() -> None:
    """Each side's shape follows the other side's elbow: still even, but neither arm keeps its volume."""
    made = arms(GOOD)
    other = {"left_elbow": "right_elbow", "right_elbow": "left_elbow"}
    shapes = tuple(shape._replace(follows=other[shape.follows or ""]) for shape in made.rig.shapes)
    flipped = replace(made, rig=made.rig._replace(shapes=shapes))
    assert failing(flipped) == {f"volume of {side}_forearm over {side}_elbow" for side in ("left", "right")}


def test_a_side_that_follows_the_wrong_elbow() -> None:
    made = arms(GOOD)
    shapes = tuple(shape._replace(follows="left_elbow") for shape in made.rig.shapes)
    wrong = replace(made, rig=made.rig._replace(shapes=shapes))
    assert failing(wrong) == {"even", "volume of right_forearm over right_elbow"}
    assert "_hold follows left_elbow" in proven(wrong)["even"].about


def test_a_missing_mirror() -> None:
    text = ELBOW + TURN + "shape hold left { follows elbow }\n" + EXPECTED.replace("moved of hold at most 200", "")
    assert failing(arms(text)) == {"even", "volume of right_forearm over right_elbow"}
    assert proven(arms(text))["even"].about == "left_hold, which the other side lacks"


def test_an_offset_that_was_not_mirrored() -> None:
    made = arms(GOOD)
    shapes = dict(made.attached.shapes)
    right = shapes["right_hold"].primary
    moved = right.offsets.copy()
    moved[0] += (0.002, 0.0, 0.0)
    shapes["right_hold"] = Inbetweens(Offsets(right.indices, moved))
    uneven = replace(made, attached=replace(made.attached, shapes=shapes))
    assert failing(uneven) == {"even"}
    assert proven(uneven)["even"].about.startswith("the offsets of ")


def test_a_swapped_axis() -> None:
    text = GOOD + "override driver turn right { reads rotation about y of paw }\n"
    assert failing(arms(text)) == {"even"}
    assert "turn" in proven(arms(text))["even"].about


def test_a_pop() -> None:
    text = GOOD.replace("80 deg }\n", "80 deg   curve 0 0, 0.5 0, 0.505 1, 1 1 }\n", 1)
    assert failing(arms(text)) == {f"smooth {side}_elbow, {side}_turn" for side in ("left", "right")}
    result = proven(arms(text))["smooth left_elbow, left_turn"]
    assert result.about == "left_turn"
    assert result.frame is not None and result.frame.place == pytest.approx(0.5, abs=0.02)
    assert result.frame.angles[0] == ("paw_lf", pytest.approx(np.radians(40.0), abs=0.03))


def test_a_strength_that_is_on_at_rest() -> None:
    made = arms(
        GOOD.replace("reads rotation about x of paw   span 0 deg", "reads rotation about x of paw   span -8 deg")
    )
    result = proven(made)["rest"]
    assert result.status == "fails"
    assert result.worst == pytest.approx(8 / 88) and result.about in ("left_turn", "right_turn")
    assert failing(made) == {"rest"}


def test_a_region_whose_sides_do_not_add_up() -> None:
    made = arms(GOOD)
    regions = dict(made.attached.regions)
    at = int(regions["right_forearm"].argmax())
    regions["left_forearm"] = regions["left_forearm"].copy()
    regions["left_forearm"][at] += 0.25
    result = proven(replace(made, attached=replace(made.attached, regions=regions)))["partition"]
    assert (result.status, result.about) == ("fails", "forearm")
    assert result.worst == pytest.approx(0.25)
    assert result.place is not None and result.place.vertex == at and result.place.joint == "lowerarm_rt"


def test_a_shape_that_moves_too_much_of_the_mesh() -> None:
    text = GOOD.replace("at most 200", "at most 100")
    assert failing(arms(text)) == {"moved of left_hold", "moved of right_hold"}


def test_a_span_that_a_clip_does_not_reach() -> None:
    made = arms(GOOD.replace("reach elbow, turn", 'reach elbow over clip "stroll.bvh"'))
    half = Sweeper(made.rig).sweep("left_elbow")
    poses = half.between(np.linspace(0.0, 0.5, 20)) if half.between else half.poses
    clips = {"stroll.bvh": [Track("clip stroll.bvh", "clip", np.arange(20) / 30.0, poses)]}
    results = {one.title: one for one in Prover(Subject(made.rig, made.attached, clips)).results()}
    left = results['reach left_elbow over clip "stroll.bvh"']
    assert (left.status, left.worst) == ("fails", pytest.approx(0.5))  # half way along a smooth curve
    right = results['reach right_elbow over clip "stroll.bvh"']
    assert (right.status, right.worst) == ("fails", 0.0)


def test_a_crossing_is_found_by_the_expectation_of_crossings() -> None:
    text = ELBOW + SHAPE + "expect both { crossing of upperarm none over elbow }\n"
    assert failing(arms(text)) == set()
    assert failing(arms(text, strength=10.0)) == {
        f"crossing of {side}_upperarm over {side}_elbow" for side in ("left", "right")
    }


def test_arms_that_come_too_near_each_other() -> None:
    """The tubes start 10 cm to either side of the plane, so 20 cm apart, and bending the elbows upward keeps that."""
    text = ELBOW + SHAPE + "expect left { clearance of left upperarm from right upperarm at least %s over elbow }\n"
    assert failing(arms(text % "19 cm")) == set()
    (result,) = proven(arms(text % "21 cm")).values()
    assert result.status == "fails"
    assert result.worst == pytest.approx(0.2)
