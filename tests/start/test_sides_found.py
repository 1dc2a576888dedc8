"""Side patterns: every naming habit, judged by where the joints are."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, radians, sin

import pytest

from plica.skeleton.side_patterns import FoundSides, direction_to_left, find_sides
from plica.skeleton.skeleton import Joint, Skeleton
from tests.support.models import Namer, Vector, figure, underscored

PAIRS = 14
SINGLE = 5


def _habit(single: str, paired: str, left: str, right: str, style: Callable[[str], str] = str) -> Namer:
    def name(base: str, side: str) -> str:
        word = {"left": left, "right": right, "": ""}[side]
        return (paired if side else single).format(base=style(base), side=word)

    return name


def _last_apart(base: str) -> str:
    """`index1` as `index|1`, for names with the side in the middle."""
    return base if base[-1].isalpha() else f"{base[:-1]}|{base[-1]}"


def _middle(left: str, right: str, separator: str) -> Namer:
    def name(base: str, side: str) -> str:
        head, _, tail = _last_apart(base).partition("|")
        if not side:
            return base
        return separator.join([head, left if side == "left" else right, tail or "joint"])

    return name


HABITS: dict[str, Namer] = {
    "_l": _habit("{base}", "{base}_{side}", "l", "r"),
    "_L": _habit("{base}", "{base}_{side}", "L", "R"),
    ".L": _habit("{base}", "{base}.{side}", "L", "R"),
    "-left": _habit("{base}", "{base}-{side}", "left", "right"),
    " Left": _habit("{base}", "{base} {side}", "Left", "Right"),
    ":rt": _habit("{base}", "{base}:{side}", "lf", "rt"),
    "_lft": _habit("{base}", "{base}_{side}", "lft", "rgt"),
    "_LEFT": _habit("{base}", "{base}_{side}", "LEFT", "RIGHT", str.upper),
    "l_": _habit("{base}", "{side}_{base}", "l", "r"),
    "L_": _habit("c_{base}", "{side}_{base}", "L", "R"),
    "lf_": _habit("{base}", "{side}_{base}", "lf", "rt"),
    "lf and rf": _habit("{base}", "{side}_{base}", "lf", "rf"),
    "left_": _habit("{base}", "{side}_{base}", "left", "right"),
    "Left + Camel": _habit("{base}", "{side}{base}", "Left", "Right", str.capitalize),
    "left + Camel": _habit("{base}", "{side}{base}", "left", "right", str.capitalize),
    "L + Camel": _habit("{base}", "{side}{base}", "L", "R", str.capitalize),
    "l + Camel": _habit("{base}", "{side}{base}", "l", "r", str.capitalize),
    "camel + Left": _habit("{base}", "{base}{side}", "Left", "Right"),
    "camel + L": _habit("{base}", "{base}{side}", "L", "R"),
    "namespace": _habit("wren:{base}", "wren:{side}{base}", "Left", "Right", str.capitalize),
    "character first": _habit("Wren01 {base}", "Wren01 {side} {base}", "L", "R", str.capitalize),
    "ending": _habit("{base}_jnt", "{base}_{side}_jnt", "l", "r"),
    "middle _L_": _middle("L", "R", "_"),
    "middle .left.": _middle("left", "right", "."),
    "links": _habit("{base}", "{base}_{side}", "links", "rechts"),
    "a different word in front": _habit("b_{base}", "b_{side}_{base}", "l", "r"),
}


def _check(result: FoundSides, skeleton: Skeleton) -> None:
    names = [joint.name for joint in skeleton.joints]
    assert len(result.sides.pairs) == PAIRS
    assert len(names) - 2 * len(result.sides.pairs) == SINGLE
    assert result.sides.unpaired == ()
    assert result.sides.clashing == ()


@pytest.mark.parametrize("habit", HABITS)
def test_naming_habits(habit: str) -> None:
    skeleton = figure(HABITS[habit])
    result = find_sides(skeleton)
    _check(result, skeleton)
    assert len(result.left) == len(result.right) == 1
    assert result.stated == ()
    assert all(skeleton.frames[pair.left].origin[0] > 0 for pair in result.sides.pairs.values())


def test_the_narrowest_pattern_drops_what_all_names_begin_with() -> None:
    result = find_sides(figure(HABITS["namespace"]))
    assert (result.left, result.right) == (("wren:Left*",), ("wren:Right*",))
    assert "Forearm" in result.sides.pairs


@pytest.mark.parametrize(
    ("paired", "words", "patterns"),
    [
        ("{base}_{side}", ("vasen", "oikea"), ("*_vasen", "*_oikea")),
        ("{base}_{side}", ("venstre", "vest"), ("*_venstre", "*_vest")),
        ("{side}{base}", ("左", "右"), ("左*", "右*")),
        ("{side} {base}", ("kairys", "desinys"), ("kairys *", "desinys *")),
        ("otso:{side}:{base}", ("vasen", "oikea"), ("otso:vasen:*", "otso:oikea:*")),
    ],
)
def test_marks_in_any_language_are_told_by_the_places(
    paired: str, words: tuple[str, str], patterns: tuple[str, str]
) -> None:
    """Which pairs there are and which side is left is told by where joints stand; their names only have to agree."""
    skeleton = figure(_habit("{base}", paired, *words))
    result = find_sides(skeleton)
    assert (*result.left, *result.right) == patterns and not result.by_position
    assert result.told_by and not result.sides.placed
    _check(result, skeleton)


def test_names_whose_marks_do_not_agree_stay_paired_by_position() -> None:
    skeleton = figure(_habit("{base}", "{base}_{side}", "vasen", "oikea"))
    left = next(index for index, joint in enumerate(skeleton.joints) if joint.name.endswith("_vasen"))
    middle = next(index for index, joint in enumerate(skeleton.joints) if "_" not in joint.name)
    for changed, name in ((left, "uvul"), (middle, "prop_vasen")):
        joints = list(skeleton.joints)
        joints[changed] = joints[changed]._replace(name=name)
        result = find_sides(Skeleton(tuple(joints)))
        assert result.by_position and result.left == () and len(result.sides.pairs) == PAIRS


def test_two_habits_in_one_skeleton_give_two_patterns() -> None:
    def name(base: str, side: str) -> str:
        return underscored(base, side) if "1" not in base and "2" not in base else f"{side.capitalize()}_{base}"

    skeleton = figure(name)
    result = find_sides(skeleton)
    _check(result, skeleton)
    assert set(result.left) == {"*_l", "Left_*"}


def test_a_pattern_that_marks_other_joints_too_becomes_stated_pairs() -> None:
    def name(base: str, side: str) -> str:
        if base == "toe":
            return f"{side[0].upper()}Toe"
        return {"left": f"Left{base}", "right": f"Right{base}", "": "LowerBack" if base == "spine" else base}[side]

    skeleton = figure(lambda base, side: name(base, side))
    result = find_sides(skeleton)
    stated = [tuple(skeleton.joints[index].name for index in pair) for pair in result.stated]
    assert result.sides.unpaired == ()
    assert "LowerBack" not in [skeleton.joints[index].name for index in result.sides.partner]
    assert ("LToe", "RToe") in stated


@pytest.mark.parametrize("axis", ["x", "y", "z"])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_any_plane(axis: str, sign: float) -> None:
    def place(at: Vector) -> Vector:
        x, y, z = at
        turned = {"x": (sign * x, y, sign * z), "y": (z, sign * x, y), "z": (-sign * z, y, sign * x)}[axis]
        return turned[0] + 3.0, turned[1] - 2.0, turned[2] + 0.5

    skeleton = figure(place=place)
    result = find_sides(skeleton)
    _check(result, skeleton)
    assert result.plane is None  # binding finds it by itself
    assert direction_to_left(skeleton, result.sides) == tuple(sign if name == axis else 0.0 for name in "xyz")


def test_the_plane_is_stated_where_one_uneven_pair_would_mislead() -> None:
    skeleton = figure()
    moved = [
        joint._replace(translation=(0.3, -1.2, 0.9)) if joint.name == "hand_l" else joint for joint in skeleton.joints
    ]
    result = find_sides(Skeleton(tuple(moved)))
    assert len(result.sides.pairs) == PAIRS
    if result.plane is not None:
        assert result.plane.axis == "x"
        assert abs(result.plane.offset) < 1e-9


def test_letters_that_do_not_mirror_are_no_sides() -> None:
    names = ("root", "signal_l", "signal_r", "mast", "rail_l", "rail_r")
    places = ((0, 0, 0), (0, 1, 0), (3, 2, 0), (0, 5, 1), (9, 1, 4), (2, 2, 8))
    joints = [
        Joint(name, None if index == 0 else index - 1, at)
        for index, (name, at) in enumerate(zip(names, places, strict=True))
    ]
    assert find_sides(Skeleton(tuple(joints))).left == ()


def test_a_skeleton_posed_unevenly_is_paired_by_how_it_hangs_together() -> None:
    turn = (0.0, 0.0, sin(radians(35.0)), cos(radians(35.0)))
    joints = [
        joint._replace(rotation=turn) if joint.name in ("upperarm_l", "thigh_r", "clavicle_r") else joint
        for joint in figure().joints
    ]
    assert find_sides(Skeleton(tuple(joints))).left == ("*_l",)


def test_no_joints_no_sides() -> None:
    result = find_sides(Skeleton(()))
    assert (result.left, result.stated, result.plane) == ((), (), None)
    assert direction_to_left(Skeleton(()), result.sides) is None
