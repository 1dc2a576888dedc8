"""Hinges: what flexes about which axis, and which way."""

from __future__ import annotations

from collections.abc import Callable
from math import acos, cos, degrees, radians, sin

import pytest
from scipy.spatial.transform import Rotation

from plica.skeleton.algebra import add, dot, matrix_of, subtract, times, transpose, unit
from plica.skeleton.body import Body, body_of
from plica.skeleton.side_patterns import find_sides
from plica.skeleton.skeleton import Joint, Skeleton
from plica.start.anatomy import PARTS
from plica.start.hinges import Hinge, axis_text, hinge_of, travel_left
from tests.support.models import Vector, figure


def _body(skeleton: Skeleton, only_side: float = 0.0) -> Body:
    sides = find_sides(skeleton).sides
    return body_of(skeleton, sides, only_side)


def _hinge(body: Body, name: str) -> Hinge | None:
    return hinge_of(body, body.skeleton.index[name])


def _moved(body: Body, name: str, child: str, angle: float = 0.3) -> Vector:
    """Where the child goes, in model space, when the joint turns by `angle` about its hinge."""
    skeleton = body.skeleton
    index, below = skeleton.index[name], skeleton.index[child]
    hinge = hinge_of(body, index)
    assert hinge is not None
    turned = Rotation.from_rotvec([angle * value for value in hinge.axis]).apply(skeleton.joints[below].translation)
    start = skeleton.joints[below].translation
    local = (float(turned[0] - start[0]), float(turned[1] - start[1]), float(turned[2] - start[2]))
    return times(skeleton.frames[index].linear, local)


def _facing_x(at: Vector) -> Vector:
    return at[2], at[1], -at[0]


@pytest.mark.parametrize(
    ("place", "front"), [(lambda at: at, (0.0, 0.0, 1.0)), (_facing_x, (1.0, 0.0, 0.0))], ids=["facing z", "facing x"]
)
def test_straight_limbs_flex_as_anatomy_says(place: Callable[[Vector], Vector], front: Vector) -> None:
    body = _body(figure(place=place))
    assert body.front == pytest.approx(front)
    for side in "lr":
        knee = _moved(body, f"shin_{side}", f"foot_{side}")
        assert sum(a * b for a, b in zip(knee, front, strict=True)) < -0.1  # back
        elbow = _moved(body, f"forearm_{side}", f"hand_{side}")
        assert sum(a * b for a, b in zip(elbow, front, strict=True)) > 0.05  # forward
        wrist = _moved(body, f"hand_{side}", f"index1_{side}")
        assert wrist[1] < -0.02  # down: in a T pose with thumbs to the front the palms face down
        finger = _moved(body, f"index1_{side}", f"index2_{side}")
        assert finger[1] < -0.01
        assert _moved(body, f"foot_{side}", f"toe_{side}")[1] > 0.01  # toes up


def test_the_axes_of_the_figure_are_written_by_name() -> None:
    body = _body(figure())
    result = {
        name: axis_text(hinge.axis)
        for name in ("shin_l", "shin_r", "forearm_l", "forearm_r", "index2_l")
        if (hinge := _hinge(body, name))
    }
    assert result == {"shin_l": "x", "shin_r": "x", "forearm_l": "-y", "forearm_r": "y", "index2_l": "-z"}


def test_ball_joints_are_no_hinges() -> None:
    body = _body(figure())
    for name in ("thigh_l", "upperarm_l", "clavicle_l", "spine", "neck", "head"):
        assert _hinge(body, name) is None


def _bent_limb(degrees_of_bend: float, turn: tuple[float, float, float, float]) -> Skeleton:
    """Root, knee and foot; the lower leg bends back by an angle; the knee's own frame is turned."""
    angle = radians(degrees_of_bend)
    foot = (0.0, -0.4 * cos(angle), -0.4 * sin(angle))
    own = times(transpose(matrix_of(turn)), foot)
    return Skeleton((Joint("limb_a"), Joint("limb_b", 0, (0.0, -0.4, 0.0), turn), Joint("limb_c", 1, own)))


@pytest.mark.parametrize("bend", [4.0, 30.0, 100.0])
def test_a_bent_limb_tells_its_hinge_without_names_and_in_any_frame(bend: float) -> None:
    for turn in ((0.0, 0.0, 0.0, 1.0), (0.5, 0.5, 0.5, 0.5), (0.0, sin(0.4), 0.0, cos(0.4))):
        body = _body(_bent_limb(bend, turn))
        hinge = _hinge(body, "limb_b")
        assert hinge is not None
        assert degrees(hinge.rest_bend) == pytest.approx(bend)
        assert times(matrix_of(turn), hinge.axis) == pytest.approx((1.0, 0.0, 0.0), abs=1e-9)
        moved = add(body.origin(2), _moved(body, "limb_b", "limb_c", 0.1))
        knee = body.origin(1)
        after = dot(unit(subtract(moved, knee)), (0.0, -1.0, 0.0))
        assert degrees(acos(after)) == pytest.approx(bend + degrees(0.1))  # bends further


def test_a_straight_limb_without_a_name_has_no_hinge() -> None:
    assert _hinge(_body(_bent_limb(0.0, (0.0, 0.0, 0.0, 1.0))), "limb_b") is None


def test_a_knee_bent_forward_by_carelessness_still_flexes_back() -> None:
    def place(at: Vector) -> Vector:
        x, y, z = at
        return (x, y, z - 0.04) if abs(y - 0.5) < 1e-9 else at  # the knee 4 cm behind the line from hip to ankle

    body = _body(figure(place=place))
    assert _moved(body, "shin_l", "foot_l")[2] < -0.1


def test_a_mirrored_frame_turns_its_axis_over() -> None:
    joints = [joint._replace(scale=(-1.0, 1.0, 1.0)) if joint.name == "shin_l" else joint for joint in figure().joints]
    body = _body(Skeleton(tuple(joints)))
    hinge = _hinge(body, "shin_l")
    assert hinge is not None
    # A rotation axis is a pseudovector: mirrored along itself, it stays.
    assert hinge.axis == pytest.approx((1.0, 0.0, 0.0))
    assert _moved(body, "shin_l", "foot_l")[2] < -0.1


def test_the_span_leaves_out_what_is_bent_at_rest() -> None:
    knee = PARTS["knee"]
    assert travel_left(knee, Hinge((1.0, 0.0, 0.0), radians(25.0), "")) == 115
    assert travel_left(knee, None) == 140
    assert travel_left(PARTS["ankle"], Hinge((1.0, 0.0, 0.0), radians(60.0), "")) == 23


def test_axes_are_written_shortly() -> None:
    assert axis_text((0.9999, 0.014, 0.0)) == "x"
    assert axis_text((0.0, -1.0, 0.0)) == "-y"
    assert axis_text((0.6, -0.8, -0.000001)) == "(0.6, -0.8, 0)"
