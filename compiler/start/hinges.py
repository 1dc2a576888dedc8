"""Which joints are hinges, about which axis, and which way they flex."""

from __future__ import annotations

from math import acos, atan2, cos, degrees, radians, sin
from typing import NamedTuple

from plica.skeleton.algebra import (
    Vector,
    add,
    cross,
    determinant,
    dot,
    length,
    scaled,
    subtract,
    times,
    transpose,
    unit,
)
from plica.skeleton.body import Body
from plica.skeleton.bones import direction
from plica.skeleton.joint_parts import FINGERS
from plica.skeleton.joint_words import words_of
from plica.skeleton.skeleton import Skeleton
from plica.start.anatomy import BodyPart, body_part

LEAST_BEND = radians(3.0)  # a limb that is straighter at rest does not tell its axis
SURE_BEND = radians(15.0)  # up to here, a bend against anatomy is taken for carelessness in the rest pose
TO_THE_PALM = cos(radians(25.0))  # how far a finger's bend may turn aside to be taken for its hinge
SNAP = cos(radians(2.0))  # how near an own axis has to be to be written by its name


class Hinge(NamedTuple):
    """A hinge: the axis in the joint's own rest frame, flexing when it turns positively, and the rest bend
    (radians).

    `told_by` says where the axis comes from, for the comment in the spec.
    """

    axis: Vector
    rest_bend: float
    told_by: str


def hinge_of(body: Body, index: int) -> Hinge | None:
    """The hinge at a joint, or None where it turns every way or its axis cannot be told.

    Geometry first: a limb that is bent at rest bends further about the normal of its two bones. A straight
    one, or one that is bent the wrong way by a few degrees, is decided by anatomy: a knee takes the lower
    leg back, an elbow the forearm to the front, a finger goes to the palm.
    """
    part = body_part(body, body.parts[index] or "unknown")
    if part.flexion == "any":
        return None
    if body.parts[index] == "unknown" and not _in_a_limb(body, index):
        return None
    normal, bend = rest_bend(body, index)
    expected = _anatomical(body, index, part)
    if normal is not None and _trusted(part, normal, bend, expected):
        return Hinge(_own_axis(body.skeleton, index, normal), bend, "the bend of the stance")
    if expected is None:
        return None
    flexed = max(0.0, _bend_about(body, index, expected))
    return Hinge(_own_axis(body.skeleton, index, expected), flexed, "anatomy")


def _trusted(part: BodyPart, normal: Vector, bend: float, expected: Vector | None) -> bool:
    """Whether the rest pose's own bend tells the hinge.

    Fingers spread sideways, so where the palm is known a finger's bend counts only where it goes to the palm.
    """
    if part.flexion == "palm":
        return bend > LEAST_BEND and dot(normal, expected) > TO_THE_PALM if expected else bend > SURE_BEND
    against = expected is not None and dot(normal, expected) < -0.3
    return bend > LEAST_BEND and not (against and bend < SURE_BEND)


def _in_a_limb(body: Body, index: int) -> bool:
    """Whether neither the joint nor the one before it is where limbs branch off: only then two bones make a hinge."""
    before = body.bones.before[index]
    return before is not None and body.bones.branches[before] == 1 and body.bones.branches[index] == 1


def rest_bend(body: Body, index: int) -> tuple[Vector | None, float]:
    """The unit normal of the bones before and beyond a joint and the angle between them; no normal if straight."""
    before, beyond = body.bone_before(index), body.bone(index)
    if before is None or beyond is None:
        return None, 0.0
    normal = cross(before, beyond)
    angle = acos(max(-1.0, min(1.0, dot(before, beyond))))
    return (unit(normal), angle) if length(normal) > sin(radians(0.05)) else (None, angle)


def _bend_about(body: Body, index: int, axis: Vector) -> float:
    """The signed angle between the bones before and beyond a joint, seen along a unit axis."""
    before, beyond = body.bone_before(index), body.bone(index)
    if before is None or beyond is None:
        return 0.0
    return atan2(dot(cross(before, beyond), axis), dot(before, beyond))


def axis_text(axis: Vector) -> str:
    """An axis as the language writes it: an own axis by name where it is near, else a vector."""
    for coordinate, name in enumerate("xyz"):
        if abs(axis[coordinate]) >= SNAP:
            return name if axis[coordinate] > 0 else f"-{name}"
    rounded = [round(value, 4) + 0.0 for value in axis]
    return "(" + ", ".join(f"{value:g}" for value in rounded) + ")"


def _own_axis(skeleton: Skeleton, index: int, axis: Vector) -> Vector:
    """A rotation axis of model space in the joint's rest frame; a pseudovector, so a mirrored frame turns it over."""
    frame = skeleton.orientation(index)
    own = times(transpose(frame), axis)
    return own if determinant(frame) > 0 else scaled(own, -1.0)


# ---- anatomy -------------------------------------------------------------------------------------------------


def _anatomical(body: Body, index: int, part: BodyPart) -> Vector | None:
    """The axis about which the part beyond the joint moves as anatomy says, in model space."""
    bone = body.bone(index) or (body.front if part.flexion == "up" else body.bone_before(index))
    if bone is None:
        return None
    if part.flexion == "palm":
        toward = _palm(body, index)
        if toward is None:
            return _neighbours_axis(body, index)
    elif part.flexion == "back":
        toward = scaled(body.front, -1.0)
    elif part.flexion == "forward":
        toward = body.front if abs(dot(bone, body.front)) < 0.9 else body.up
    elif part.flexion == "up":
        toward = body.up
    else:
        return None
    axis = cross(bone, toward)
    return unit(axis) if length(axis) > 0.2 else None


def _palm(body: Body, index: int) -> Vector | None:
    """The direction out of the palm, from the hand's outermost fingers and its side; None where either is
    missing.

    Seen from the back of a left hand whose fingers point away, the little finger is on the left: with f
    along the fingers and a from the little to the index finger, the palm of a left hand faces f x a. (Own
    hands; no source.)
    """
    side = body.side[index]
    first, last = _outer_fingers(body, side)
    if side == 0.0 or first is None or last is None:
        return None
    across = direction(body.origin(last), body.origin(first))
    along = body.bone(first)
    if across is None or along is None:
        return None
    normal = cross(along, across)
    return scaled(unit(normal), side) if length(normal) > 0.3 else None


def _outer_fingers(body: Body, side: float) -> tuple[int | None, int | None]:
    """The base joints of the index finger and of the finger farthest from it on the other edge of the hand."""
    bases = [index for index, part in enumerate(body.parts) if part == "finger base" and body.side[index] == side]
    words = {index: set(words_of(body.skeleton.joints[index].name)) for index in bases}
    first = next((index for index in bases if "index" in words[index]), None)
    last = None
    for names in (("pinky", "little", "pinkie"), ("ring",), ("middle", "mid")):
        last = last or next((index for index in bases if words[index] & set(names)), None)
    return first, last


def _neighbours_axis(body: Body, index: int) -> Vector | None:
    """The mean bend axis of the fingers' joints of the same side, where they agree on one."""
    total: Vector = (0.0, 0.0, 0.0)
    weight = 0.0
    own = set(words_of(body.skeleton.joints[index].name)) & set(FINGERS)
    for other, part in enumerate(body.parts):
        if part not in ("finger base", "finger middle", "finger end") or body.side[other] != body.side[index]:
            continue
        normal, bend = rest_bend(body, other)
        if normal is None or bend < LEAST_BEND:
            continue
        same = bool(own & set(words_of(body.skeleton.joints[other].name)))
        share = bend * (4.0 if same else 1.0)
        total, weight = add(total, scaled(normal, share)), weight + share
    bone = body.bone(index) or body.bone_before(index)
    if bone is None or weight == 0.0 or length(total) < 0.5 * weight:
        return None
    level = subtract(total, scaled(bone, dot(total, bone)))
    return unit(level) if length(level) > 0.3 * weight else None


def travel_left(part: BodyPart, hinge: Hinge | None) -> int:
    """The published travel in whole degrees, less what the limb is bent at rest already."""
    if not part.straight or hinge is None:
        return part.travel
    return max(part.travel - round(degrees(hinge.rest_bend)), part.travel // 3)
