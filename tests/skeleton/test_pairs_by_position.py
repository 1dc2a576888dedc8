"""Pairs of joints by where they stand: no name is looked at, and nothing is guessed."""

from __future__ import annotations

import random
from math import pi

import pytest

from plica.diagnostics import Diagnostics
from plica.pipeline import compile_text
from plica.readers.model_reader import find_outline
from plica.skeleton.algebra import about, add, dot, matrix_of, multiply, times
from plica.skeleton.pairing import pairing_of
from plica.skeleton.pairs_by_position import PositionPairs, pairs_by_position
from plica.skeleton.side_patterns import find_sides
from plica.skeleton.skeleton import Joint, Skeleton
from tests.support.data import shared_data
from tests.support.models import figure

# The pairs that names give in these files, and of which the rest positions mirror each other.
NAMED = {
    ("full_body", "full_body.gltf"): 29,
    ("mannequin", "mannequin.gltf"): 8,
    ("rigged_figure", "RiggedFigure.glb"): 7,
}
NAMELESS = {("unnamed_man", "man.glb"): 7, ("rigged_figure", "RiggedFigure_unnamed_unnormalised.glb"): 7}


def skeleton_of(parts: tuple[str, ...]) -> Skeleton:
    outline = find_outline(shared_data("characters", *parts), "model", None, Diagnostics())
    assert outline is not None
    return outline.skeleton


def shuffled(skeleton: Skeleton, seed: int) -> tuple[Skeleton, list[int]]:
    """The joints under names without meaning, children in another order; and where each joint went."""
    source = random.Random(seed)
    order: list[int] = []
    waiting = [at for at, joint in enumerate(skeleton.joints) if joint.parent is None]
    while waiting:
        joint = waiting.pop(source.randrange(len(waiting)))
        order.append(joint)
        waiting += skeleton.children(joint)
    place = {joint: at for at, joint in enumerate(order)}
    joints = []
    for at, index in enumerate(order):
        joint = skeleton.joints[index]
        parent = None if joint.parent is None else place[joint.parent]
        joints.append(joint._replace(name=f"joint_{at * 7 % 1009}", parent=parent))
    return Skeleton(tuple(joints)), order


def as_sets(found: PositionPairs) -> set[frozenset[int]]:
    return {frozenset(pair) for pair in found.pairs}


@pytest.mark.parametrize("parts", NAMED, ids="/".join)
def test_places_alone_find_what_names_say(parts: tuple[str, ...]) -> None:
    skeleton = skeleton_of(parts)
    named = {frozenset((pair.left, pair.right)) for pair in find_sides(skeleton).sides.pairs.values()}
    assert len(named) == NAMED[parts]
    renamed, order = shuffled(skeleton, 5)
    found = pairs_by_position(renamed)
    assert {frozenset(order[joint] for joint in pair) for pair in as_sets(found)} == named
    assert found.ambiguous == () == found.alone


@pytest.mark.parametrize("parts", NAMELESS, ids="/".join)
def test_bodies_without_names_have_all_their_pairs(parts: tuple[str, ...]) -> None:
    assert len(pairs_by_position(skeleton_of(parts)).pairs) == NAMELESS[parts]


@pytest.mark.parametrize("seed", range(4))
def test_the_order_of_joints_does_not_matter(seed: int) -> None:
    skeleton = figure()
    renamed, order = shuffled(skeleton, seed)
    wanted = as_sets(pairs_by_position(skeleton))
    assert len(wanted) == 14
    assert {frozenset(order[joint] for joint in pair) for pair in as_sets(pairs_by_position(renamed))} == wanted


def body(*extra: Joint) -> Skeleton:
    """A root with two arms of two joints each, and further joints. Joints 1 and 2 are on the left, 3 and 4 right."""
    return Skeleton(
        (
            Joint("root", None, (0.0, 1.0, 0.0)),
            Joint("a", 0, (0.2, 0.3, 0.0)),
            Joint("b", 1, (0.3, 0.0, 0.0)),
            Joint("c", 0, (-0.2, 0.3, 0.0)),
            Joint("d", 3, (-0.3, 0.0, 0.0)),
            *extra,
        )
    )


PAIRS = {frozenset((1, 3)), frozenset((2, 4))}


def test_two_joints_that_stand_equally_well_are_unknown() -> None:
    found = pairs_by_position(body(Joint("e", 2, (0.1, 0.0, 0.0)), *[Joint(n, 4, (-0.1, 0.0, 0.0)) for n in "fg"]))
    assert as_sets(found) == PAIRS
    assert set(found.ambiguous) >= {5}
    assert set(found.ambiguous + found.alone) == {5, 6, 7}


def test_of_joints_in_one_place_the_one_that_carries_as_much_is_the_partner() -> None:
    extra = [Joint("e", 2, (0.1, 0.0, 0.0)), Joint("f", 4, (-0.1, 0.0, 0.0)), Joint("g", 4, (-0.1, 0.0, 0.0))]
    found = pairs_by_position(body(*extra, Joint("h", 5, (0.1, 0.0, 0.0)), Joint("i", 7, (-0.1, 0.0, 0.0))))
    assert as_sets(found) == PAIRS | {frozenset((5, 7)), frozenset((8, 9))}
    assert found.alone == (6,)


def test_pairs_hang_from_pairs() -> None:
    """The mirror image of one falls on the other, but they hang from the root and from an arm."""
    found = pairs_by_position(body(Joint("e", 0, (0.6, 0.0, 0.0)), Joint("f", 4, (-0.1, -0.3, 0.0))))
    assert as_sets(found) == PAIRS
    assert set(found.alone) == {5, 6}


def test_a_helper_that_one_side_lacks_is_passed_over() -> None:
    extra = [Joint("twist", 2, (0.05, 0.0, 0.0)), Joint("e", 5, (0.05, 0.0, 0.0)), Joint("f", 4, (-0.1, 0.0, 0.0))]
    found = pairs_by_position(body(*extra))
    assert as_sets(found) == PAIRS | {frozenset((6, 7))}
    assert found.alone == (5,)


def test_helpers_in_the_middle_that_lead_to_a_side_are_pairs() -> None:
    helpers = [Joint("p", 0, (0.0, -0.5, 0.0)), Joint("q", 0, (0.0, -0.5, 0.0))]
    found = pairs_by_position(body(*helpers, Joint("e", 5, (0.1, 0.0, 0.0)), Joint("f", 6, (-0.1, 0.0, 0.0))))
    assert as_sets(found) == PAIRS | {frozenset((5, 6)), frozenset((7, 8))}
    assert found.pairs[2] == (5, 6)


def test_a_body_that_mirrors_across_two_planes_is_refused() -> None:
    legs = [Joint(f"leg_{x}_{z}", 0, (0.1 * x, 0.0, 0.1 * z)) for x in (-1, 1) for z in (-1, 1)]
    found = pairs_by_position(Skeleton((Joint("root"), *legs)))
    assert found.plane is None and found.pairs == () and found.rivals == ("x", "z")


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_the_plane_is_found_at_any_place(axis: str) -> None:
    def moved(joint: Joint) -> Joint:
        x, y, z = joint.translation
        turned = {"x": (x, y, z), "y": (y, x, z), "z": (z, y, x)}[axis]
        offset = 0.37 if joint.parent is None else 0.0
        x, y, z = turned
        return joint._replace(translation=(x + offset, y + offset, z + offset))

    found = pairs_by_position(Skeleton(tuple(map(moved, body().joints))))
    assert found.plane is not None
    assert found.plane.axis == axis
    assert found.plane.offset - 0.37 == pytest.approx(1.0 if axis == "none" else 0.0, abs=1e-9)
    assert as_sets(found) == PAIRS


def test_a_body_that_is_uneven_by_more_than_the_tolerance_has_no_pairs() -> None:
    """One arm of the two is 2 % of the body's extent longer."""
    joints = list(body().joints)
    joints[4] = joints[4]._replace(translation=(-0.32, 0.0, 0.0))
    found = pairs_by_position(Skeleton(tuple(joints)))
    assert as_sets(found) == {frozenset((1, 3))}
    assert set(found.alone) == {2, 4}


# ---- in a spec ------------------------------------------------------------------------------------------------

MAN = """plica 1
character man {
    skeleton {
        joint joint_1  at 0 m, 1 m, 0 m
        joint joint_3  under joint_1  at 10 cm, -10 cm, 0 cm
        joint joint_4  under joint_3  at 0 cm, -40 cm, 0 cm  turned about x 20 deg
        joint joint_7  under joint_1  at -10 cm, -10 cm, 0 cm
        joint joint_8  under joint_7  at 0 cm, -40 cm, 0 cm  turned about y 180 deg
        joint sword    under joint_8  at 0 cm, -40 cm, 0 cm
    }
    %s
}
driver knee both { reads rotation about x of joint_4   span 0 deg .. 130 deg }
"""


def test_a_pair_is_called_as_its_left_joint_and_written_once() -> None:
    compiled = compile_text(MAN % "pairs by position with left toward x")
    assert compiled.rig is not None and [one.name for one in compiled.diagnostics] == []
    readings = {one.name: one.reading for one in compiled.rig.strengths if one.kind == "driver"}
    assert (readings["left_knee"].joint, readings["right_knee"].joint) == ("joint_4", "joint_8")
    assert compiled.spec is not None
    bound = compiled.spec.bound
    pairing = pairing_of(bound.skeleton, bound.sides, bound.plane)
    assert str(pairing) == "4 of 5 joints to the sides paired, 4 by position, left: `sword`"
    assert pairing.left_over == ("sword",)


def test_left_is_where_the_spec_says() -> None:
    compiled = compile_text((MAN % "pairs by position with left toward -x").replace("of joint_4 ", "of joint_8 "))
    assert compiled.spec is not None
    assert {pair.base for pair in compiled.spec.bound.sides.pairs.values()} == {"joint_7", "joint_8"}


def test_named_pairs_come_first_and_tell_the_left() -> None:
    compiled = compile_text(MAN % "pair joint_3, joint_7 as thigh  pairs by position")
    assert compiled.spec is not None
    assert set(compiled.spec.bound.sides.pairs) == {"thigh", "joint_4"}


def test_names_that_places_deny_are_a_warning_and_are_followed() -> None:
    compiled = compile_text(MAN % "pair joint_7, joint_3 as thigh  pairs by position with left toward x")
    assert [one.name for one in compiled.diagnostics] == ["names-against-places"]
    assert compiled.spec is not None
    pair = compiled.spec.bound.sides.pairs["thigh"]
    assert compiled.spec.bound.skeleton.joints[pair.left].name == "joint_7"


@pytest.mark.parametrize(("pair", "toward", "denied"), [("3, joint_7", "-x", True), ("7, joint_3", "-x", False)])
def test_a_stated_side_denies_names_whichever_way_it_points(pair: str, toward: str, denied: bool) -> None:
    compiled = compile_text(MAN % f"pair joint_{pair} as thigh  pairs by position with left toward {toward}")
    assert ("names-against-places" in [one.name for one in compiled.diagnostics]) == denied


def test_a_mirrored_axis_is_computed_for_a_pair_by_position() -> None:
    """The right knee's frame is turned by half a turn about y: its own x runs the other way."""
    compiled = compile_text(
        (MAN % "pairs by position with left toward x").replace("about x 20 deg", f"about x {pi} rad")
    )
    assert compiled.rig is not None
    axes = {one.name: one.reading.axis for one in compiled.rig.strengths if one.kind == "driver"}
    assert axes["right_knee"] == pytest.approx((-1.0, 0.0, 0.0), abs=1e-9)


@pytest.mark.parametrize("parts", [*NAMED, *NAMELESS], ids="/".join)
def test_a_turned_character_has_the_same_pairs(parts: tuple[str, ...]) -> None:
    """All roots turned by odd angles and moved: no axis of the model is square to the plane any more."""
    skeleton = skeleton_of(parts)
    turn = multiply(about((0.0, 1.0, 0.0), 0.7), about((1.0, 0.0, 0.0), 0.3))
    joints = [
        joint
        if joint.parent is not None
        else joint._replace(
            rotation=multiply(turn, joint.rotation),
            translation=add(times(matrix_of(turn), joint.translation), (0.3, 0.1, -0.2)),
        )
        for joint in skeleton.joints
    ]
    turned = pairs_by_position(Skeleton(tuple(joints)))
    assert turned.plane is not None and turned.plane.axis is None
    straight = pairs_by_position(skeleton)
    assert straight.plane is not None
    assert as_sets(turned) == as_sets(straight)
    expected = times(matrix_of(turn), straight.plane.normal)
    assert abs(dot(turned.plane.normal, expected)) == pytest.approx(1.0, abs=1e-9)  # the man's own joints are 2e-5 off


def test_left_of_a_turned_character_is_stated_by_an_axis_that_leads_there() -> None:
    joints = [Joint(f"j{at}", joint.parent, joint.translation) for at, joint in enumerate(figure().joints)]
    turn = about((0.0, 1.0, 0.0), 0.6)
    joints[0] = joints[0]._replace(rotation=turn)
    sides = find_sides(Skeleton(tuple(joints)))
    assert sides.by_position and sides.toward == "x" and sides.plane is None
    left = times(matrix_of(turn), (1.0, 0.0, 0.0))
    for pair in sides.sides.pairs.values():
        places = [Skeleton(tuple(joints)).frames[joint].origin for joint in (pair.left, pair.right)]
        assert dot(left, places[0]) > dot(left, places[1])
