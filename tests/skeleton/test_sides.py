"""Pairs by name patterns, and the plane between them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plica.skeleton.algebra import add, scaled, times, unit
from plica.skeleton.frames import body_size
from plica.skeleton.planes import OFF_AXIS, Plane, find_plane
from plica.skeleton.sides import AXES, AxisName, Pair, StatedPair, pair_joints, valid_pattern
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


def _mirrored_pairs(plane: Plane, points: list[tuple[float, float, float]]) -> tuple[Skeleton, list[Pair]]:
    joints = []
    for number, point in enumerate(points):
        joints += [Joint(f"l{number}", None, point), Joint(f"r{number}", None, plane.reflect(point))]
    return Skeleton(tuple(joints)), [Pair(str(number), 2 * number, 2 * number + 1) for number in range(len(points))]


component = st.floats(-1, 1).map(lambda value: round(value, 3))


@given(
    direction=st.tuples(component, component, component).filter(lambda vector: max(map(abs, vector)) > 0.1),
    offset=coordinate,
    points=st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=4, max_size=8, unique=True),
)
def test_pairs_that_are_even_across_no_axis_tell_a_turned_plane(
    direction: tuple[float, float, float], offset: float, points: list[tuple[float, float, float]]
) -> None:
    skeleton, pairs = _mirrored_pairs(Plane(unit(direction), offset), points)
    plane = find_plane(skeleton, pairs)
    assert plane is not None
    assert plane.axis is not None or plane.residual < 1e-9
    assert plane.axis is None or plane.residual <= OFF_AXIS * body_size(skeleton)


def test_the_plane_of_a_turned_body_is_its_own() -> None:
    points = [(0.5, 0.1, 0.2), (0.9, 0.0, 0.3), (0.3, -0.8, 0.1)]
    expected = Plane(unit((0.8, 0.1, -0.6)), 0.25)
    skeleton, pairs = _mirrored_pairs(expected, points)
    plane = find_plane(skeleton, pairs)
    assert plane is not None and plane.axis is None
    assert plane.normal == pytest.approx(expected.normal, abs=1e-10)
    assert plane.offset == pytest.approx(expected.offset, abs=1e-10)
    # Two pairs do not tell a direction, and an axis that is stated is taken as it is.
    few = find_plane(skeleton, pairs[:2])
    stated = find_plane(skeleton, pairs, "x")
    assert few is not None and stated is not None
    assert few.axis is not None and stated.axis == "x"


def test_a_pair_that_is_off_does_not_turn_the_plane() -> None:
    points = [(0.5, 0.1, 0.2), (0.9, 0.0, 0.3), (0.3, -0.8, 0.1), (0.3, -0.4, 0.1), (0.2, 0.4, 0.0)]
    expected = Plane(unit((0.8, 0.1, -0.6)), 0.25)
    skeleton, pairs = _mirrored_pairs(expected, points)
    x, y, z = skeleton.joints[9].translation
    joints = (*skeleton.joints[:9], skeleton.joints[9]._replace(translation=(x, y + 0.02, z)))
    plane = find_plane(Skeleton(joints), pairs)
    assert plane is not None
    assert plane.normal == pytest.approx(expected.normal, abs=1e-10)
    assert plane.residual == pytest.approx(0.02, abs=1e-9) and plane.worst == "4"


@given(normal=st.sampled_from([(1.0, 0.0, 0.0), (0.0, 0.0, 1.0), unit((0.8, 0.1, -0.6))]), offset=coordinate)
def test_a_reflection_is_undone_by_itself(normal: tuple[float, float, float], offset: float) -> None:
    plane, point = Plane(normal, offset), (0.3, -0.7, 1.1)
    there = plane.reflect(point)
    assert plane.reflect(there) == pytest.approx(point, abs=1e-14)
    assert plane.height(there) == pytest.approx(-plane.height(point), abs=1e-14)
    linear = times(plane.reflection, point)
    moved = add(linear, scaled(plane.normal, 2 * offset))
    assert moved == pytest.approx(there, abs=1e-14)
