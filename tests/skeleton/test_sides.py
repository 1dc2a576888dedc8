"""Pairs by name patterns, and the plane between them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plica.skeleton.sides import AXES, AxisName, Pair, StatedPair, find_plane, pair_joints, valid_pattern
from plica.skeleton.skeleton import Joint, Skeleton


@pytest.mark.parametrize(
    ("left", "right", "names", "bases"),
    [
        ("*_lf", "*_rt", ["arm_lf", "arm_rt", "head"], {"arm"}),
        ("*.L", "*.R", ["hand.L", "hand.R", "f_index.01.L", "f_index.01.R"], {"hand", "f_index.01"}),
        ("Left*", "Right*", ["LeftArm", "RightArm", "Hips"], {"Arm"}),
        ("rig:L_*", "rig:R_*", ["rig:L_arm", "rig:R_arm"], {"arm"}),
        ("*_L_*", "*_R_*", ["arm_joint_L_1", "arm_joint_R_1"], {"arm_joint_1"}),
        ("*Left*", "*Right*", ["rig:LeftArm", "rig:RightArm"], {"rig:Arm"}),
        # the first mark of two is not the one that has a partner
        ("*_l_*", "*_r_*", ["a_l_b_l_c", "a_l_b_r_c"], {"a_l_b_c"}),
    ],
)
def test_patterns_pair_joints(left: str, right: str, names: list[str], bases: set[str]) -> None:
    sides = pair_joints(names, [left], [right])
    assert set(sides.pairs) == bases
    for pair in sides.pairs.values():
        assert sides.partner[pair.left] == pair.right
        assert sides.partner[pair.right] == pair.left
    assert sides.unpaired == ()


def test_joints_without_a_partner_are_told() -> None:
    names = ["arm_lf", "arm_rt", "satchel_lf", "hook_rt"]
    sides = pair_joints(names, ["*_lf"], ["*_rt"])
    assert [names[index] for index in sides.unpaired] == ["satchel_lf", "hook_rt"]


def test_two_pairs_cannot_share_a_name() -> None:
    sides = pair_joints(["arm_lf", "arm_rt", "lf_arm", "rt_arm"], ["*_lf", "lf_*"], ["*_rt", "rt_*"])
    assert set(sides.pairs) == {"arm"}
    assert sides.clashing == ("arm",)


def test_stated_pairs_come_first() -> None:
    stated = [StatedPair(0, 1, None), StatedPair(2, 3, "ear")]
    sides = pair_joints(["sinister_hand", "dexter_hand", "a", "b"], [], [], stated)
    assert sides.pairs == {"hand": Pair("hand", 0, 1), "ear": Pair("ear", 2, 3)}


@pytest.mark.parametrize(
    ("pattern", "valid"), [("*_l", True), ("*", False), ("arm", False), ("**", False), ("*a*b*", False)]
)
def test_patterns_need_a_mark_and_stars(pattern: str, valid: bool) -> None:
    assert valid_pattern(pattern) is valid


coordinate = st.floats(-2, 2).map(lambda value: round(value, 4))


@given(
    axis=st.sampled_from(AXES),
    offset=coordinate,
    points=st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=4, max_size=8, unique=True),
)
def test_the_plane_is_found_at_any_axis_and_offset(
    axis: AxisName, offset: float, points: list[tuple[float, float, float]]
) -> None:
    joints: list[Joint] = []
    pairs: list[Pair] = []
    coordinate_index = AXES.index(axis)
    for number, point in enumerate(points):
        mirrored = list(point)
        mirrored[coordinate_index] = 2 * offset - point[coordinate_index]
        joints += [Joint(f"l{number}", None, point), Joint(f"r{number}", None, (mirrored[0], mirrored[1], mirrored[2]))]
        pairs.append(Pair(str(number), 2 * number, 2 * number + 1))
    plane = find_plane(Skeleton(tuple(joints)), pairs)
    assert plane is not None
    assert plane.residual < 1e-12  # another plane may mirror them as well, but none better
    stated = find_plane(Skeleton(tuple(joints)), pairs, axis)
    assert stated is not None
    assert stated.offset == pytest.approx(offset, abs=1e-12)
