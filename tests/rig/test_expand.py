"""What both sides become."""

from __future__ import annotations

import math

import pytest

from plica.curves import SMOOTH
from plica.kinds.readings import Rotation
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Driver
from plica.rig.surfaces import JointPose, Sculpt, SkinOf, StrengthPose
from tests.support.texts import names_of, rig_of

ELBOW = "driver elbow both { reads rotation about z of lowerarm span 0 deg .. 130 deg }\n"


def driver(rig: Rig, name: str) -> Driver:
    """A driver by output name."""
    return next(item for item in rig.strengths if isinstance(item, Driver) and item.name == name)


def test_both_is_a_left_and_a_right_one() -> None:
    rig = rig_of(ELBOW)
    left, right = driver(rig, "left_elbow"), driver(rig, "right_elbow")
    assert isinstance(left.reading, Rotation) and isinstance(right.reading, Rotation)
    assert (left.reading.joint, right.reading.joint) == ("lowerarm_lf", "lowerarm_rt")
    assert left.reading.axis == (0.0, 0.0, 1.0)
    assert left.span == right.span == (0.0, pytest.approx(math.radians(130)))
    assert [item.side for item in (left, right)] == ["left", "right"]
    assert {item.declared for item in (left, right)} == {"elbow"}


def test_an_override_holds_for_its_side_and_leaves_the_rest_mirrored() -> None:
    plain, changed = rig_of(ELBOW), rig_of(ELBOW + "override driver elbow right { span 0 deg .. 120 deg }")
    assert driver(changed, "left_elbow") == driver(plain, "left_elbow")
    assert driver(changed, "right_elbow").reading == driver(plain, "right_elbow").reading
    assert driver(changed, "right_elbow").span[1] == pytest.approx(math.radians(120))


def test_an_overridden_reading_is_meant_literally() -> None:
    rig = rig_of(ELBOW + "override driver elbow right { reads rotation about y of lowerarm }")
    right = driver(rig, "right_elbow").reading
    assert right == Rotation("lowerarm_rt", (0.0, 1.0, 0.0))


def test_an_override_without_a_side_is_for_both() -> None:
    rig = rig_of(ELBOW + "override driver elbow { curve smooth }")
    assert driver(rig, "left_elbow").curve == driver(rig, "right_elbow").curve == SMOOTH


def test_a_stated_side_is_read_from_both() -> None:
    rig = rig_of("driver both_left both { reads bend of left lowerarm span 0 deg .. 90 deg }")
    assert {item.reading.joint for item in rig.strengths if isinstance(item, Driver)} == {"lowerarm_lf"}  # type: ignore[union-attr]


def test_a_middle_joint_is_mirrored_onto_itself() -> None:
    rig = rig_of("driver lean both { reads rotation about z of spine span 0 deg .. 20 deg }")
    left, right = driver(rig, "left_lean").reading, driver(rig, "right_lean").reading
    assert isinstance(left, Rotation) and isinstance(right, Rotation)
    assert (left.axis, right.axis) == ((0.0, 0.0, 1.0), (0.0, 0.0, -1.0))


def test_an_axis_that_the_mirror_leaves_alone_is_told() -> None:
    result = names_of("driver bow both { reads rotation about x of spine span 0 deg .. 20 deg }")
    assert "same-on-both-sides" in result


def test_one_sided_and_sideless_declarations() -> None:
    rig = rig_of(
        "driver scar right { reads bend of paw span 0 deg .. 60 deg }\n"
        "driver nod { reads rotation about x of head span 0 deg .. 30 deg }"
    )
    assert {item.name: item.side for item in rig.strengths} == {"right_scar": "right", "nod": "none"}


def test_output_names_follow_the_pattern() -> None:
    rig = rig_of(
        ELBOW + "driver nod { reads rotation about x of head span 0 deg .. 30 deg renamed from bow }",
        'names "{name}.{side}" sides "l", "r"',
    )
    assert {item.name for item in rig.strengths} == {"elbow.l", "elbow.r", "nod"}
    assert driver(rig, "nod").about.renamed_from == "bow"


def test_a_former_name_is_an_output_name_too() -> None:
    rig = rig_of(ELBOW.replace("}", "renamed from bender }"))
    assert driver(rig, "right_elbow").about.renamed_from == "right_bender"


def test_references_stay_on_their_side() -> None:
    rig = rig_of(
        ELBOW
        + "combine hug = least(left elbow, right elbow)\n"
        + "combine strong both = product(elbow, hug)\n"
        + "shape swell both { follows strong }"
    )
    combines = {item.name: item.combination.parts for item in rig.strengths if isinstance(item, Combine)}
    assert [part.strength for part in combines["hug"]] == ["left_elbow", "right_elbow"]  # type: ignore[union-attr]
    assert [part.strength for part in combines["right_strong"]] == ["right_elbow", "hug"]  # type: ignore[union-attr]
    assert {shape.name: shape.follows for shape in rig.shapes} == {
        "left_swell": "left_strong",
        "right_swell": "right_strong",
    }


def test_strengths_stand_after_those_they_are_made_of() -> None:
    combines = "combine a both = sum(b, elbow)\ncombine b both = product(c, elbow)\ncombine c both = sum(elbow)"
    rig = rig_of(ELBOW + combines)
    names = [item.name for item in rig.strengths]
    assert names.index("left_c") < names.index("left_b") < names.index("left_a")


def test_the_pose_of_a_sculpt_is_mirrored() -> None:
    rig = rig_of(
        ELBOW + 'shape swell both { sculpt "s.npz" posed at elbow 1, about z of lowerarm 30 deg follows elbow }'
    )
    poses = {shape.name: shape.source.pose for shape in rig.shapes if isinstance(shape.source, Sculpt)}
    turned = driver(rig, "right_elbow").reading
    assert isinstance(turned, Rotation)
    assert poses["left_swell"] == (
        StrengthPose("left_elbow", 1.0),
        JointPose("lowerarm_lf", (0.0, 0.0, 1.0), pytest.approx(math.radians(30))),
    )
    assert poses["right_swell"] == (
        StrengthPose("right_elbow", 1.0),
        JointPose("lowerarm_rt", turned.axis, pytest.approx(math.radians(30))),
    )


def test_regions_take_the_joints_below() -> None:
    rig = rig_of("region arm both { skin of upperarm and below feather 5 mm }\nregion all both { union of arm, arm }")
    sources = {region.name: region.source for region in rig.regions}
    assert sources["right_arm"] == SkinOf(("upperarm_rt", "lowerarm_rt", "paw_rt"))
    assert next(region for region in rig.regions if region.name == "left_arm").feather == pytest.approx(0.005)


def test_expectations_of_the_whole_character_are_said_once() -> None:
    arm = "region arm both { skin of lowerarm }\n"
    rig = rig_of(ELBOW + arm + "expect both { rest volume of arm within 4 % over elbow }")
    assert [(item.kind, item.side, item.of, item.limit) for item in rig.expectations if item.kind == "rest"] == [
        ("rest", "none", (), None)
    ]
    volumes = {item.side: (item.of, item.over, item.limit) for item in rig.expectations if item.kind == "volume"}
    assert volumes == {
        "left": (("left_arm",), ("left_elbow",), pytest.approx(0.04)),
        "right": (("right_arm",), ("right_elbow",), pytest.approx(0.04)),
    }


def test_families_are_written_out() -> None:
    rig = rig_of(
        "each part in upperarm, lowerarm { each n in 1 .. 2 {\n"
        "driver {part}_{n} both { reads bend of {part} span 0 deg .. 90 deg } } }"
    )
    assert {item.declared for item in rig.strengths} == {"upperarm_1", "upperarm_2", "lowerarm_1", "lowerarm_2"}


@pytest.mark.parametrize(
    ("reads", "span"),
    [
        ("rotation about z of lowerarm", "0 deg .. 90 deg"),
        ("bend of lowerarm", "0 deg .. 0.25 turn"),
        ("offset y of paw", "0 mm .. 0.2 in"),
        ("gap of paw from head", "0 cm .. -10 cm"),
    ],
)
def test_order_of_facts_never_matters(reads: str, span: str) -> None:
    one = rig_of(f'driver a both {{ reads {reads} span {span} curve smooth note "x" }}')
    other = rig_of(f'driver a both {{ note "x" curve smooth span {span} reads {reads} }}')
    assert one == other


def test_a_sculpt_names_the_shapes_that_were_on_of_its_own_side() -> None:
    text = """
driver elbow both { reads rotation about z of lowerarm   span 0 deg .. 130 deg }
shape swell both { sculpt "swell.npz"   follows elbow }
shape crease both { sculpt "crease.npz" posed at elbow 1 after swell   follows elbow }
"""
    sources = {shape.name: shape.source for shape in rig_of(text).shapes}
    assert {name: source.after for name, source in sources.items() if isinstance(source, Sculpt)} == {
        "left_swell": (),
        "right_swell": (),
        "left_crease": ("left_swell",),
        "right_crease": ("right_swell",),
    }
