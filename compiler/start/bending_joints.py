"""The joints of a model that bend skin: what reads each of them, and how far it goes."""

from __future__ import annotations

from typing import NamedTuple

from plica.skeleton.algebra import Vector
from plica.skeleton.body import Body
from plica.skeleton.side_patterns import FoundSides
from plica.start.anatomy import PARTS, BodyPart
from plica.start.hinges import Hinge, axis_text, hinge_of, travel_left
from plica.start.name_words import plain_name, unique_name, writable
from plica.start.spec_text import joint_text


class Evidence(NamedTuple):
    """What tells the reading and the span of a joint, in words for the spec; `weak`: the axis is a guess."""

    reading: str
    span: str
    weak: bool


class BendingJoint(NamedTuple):
    """A joint, or a pair of joints, that bends skin.

    `joint`: the left or only one, as an index into the skeleton of the neutral stance; `partner`: the right one, None
    for a joint without side. `base`: the name that both share; `name`: what its declarations are called after.
    `part`: a key of `PARTS`. `axis`: unit rotation axis in the joint's own axes in the stance, that it turns about
    positively as it flexes; None where the whole angle is read. `span`: the reading's values in degrees that mean 0 and
    1. `seen_from`: the base name of the joint that it is read relative to, None where that is its parent. `family`: the
    name of the family that it is declared with, None for one of its own.
    """

    joint: int
    partner: int | None
    base: str
    name: str
    part: str
    axis: Vector | None
    span: tuple[float, float]
    evidence: Evidence
    seen_from: str | None = None
    family: str | None = None

    @property
    def paired(self) -> bool:
        """Whether it is one of two sides."""
        return self.partner is not None

    @property
    def side(self) -> str:
        """What is written after the names of its declarations."""
        return " both" if self.paired else ""

    @property
    def driver(self) -> str:
        """The name of its driver."""
        return f"{self.name}_bend"

    @property
    def reads(self) -> str:
        """What the driver reads."""
        measured = "bend" if self.axis is None else f"rotation about {axis_text(self.axis)}"
        relative = "" if self.seen_from is None else f" from {joint_text(self.seen_from)}"
        return f"{measured} of {joint_text(self.base)}{relative}"

    @property
    def body_part(self) -> BodyPart:
        """What is known of joints of its kind."""
        return PARTS[self.part]


def bending_joints(body: Body, sides: FoundSides, bases: list[str]) -> tuple[BendingJoint, ...]:
    """The joints to read, pairs once, in the order of the skeleton. `bases`: the joints' names without side."""
    taken: set[str] = set()
    moves_skin = _moves_skin(body)
    result = []
    for index, base in enumerate(bases):
        if index in sides.sides.right or not writable(base) or not moves_skin[index]:
            continue
        partner = sides.sides.partner.get(index)
        name = unique_name(plain_name(base, "joint"), taken, paired=partner is not None)
        limb = body.hung.get(index)
        seen_from = None if limb is None or not writable(bases[limb]) else bases[limb]
        result.append(_bending_joint(body, index, base, name)._replace(partner=partner, seen_from=seen_from))
    return tuple(result)


def _bending_joint(body: Body, index: int, base: str, name: str) -> BendingJoint:
    key = body.parts[index] or "unknown"
    part = PARTS[key]
    hinge = hinge_of(body, index)
    travel = travel_left(part, hinge)
    evidence = Evidence(_reading_told_by(part, hinge), _span_told_by(part, hinge, travel), weak=hinge is None)
    axis = None if hinge is None else hinge.axis
    return BendingJoint(index, None, base, name, key, axis, (0.0, float(travel)), evidence)


def _moves_skin(body: Body) -> list[bool]:
    """For each joint whether skin follows it and other skin does not, so that its turn bends something."""
    joints = body.skeleton.joints
    follows = [int(joint.skinned) for joint in joints]
    total = sum(follows)
    for index in range(len(joints) - 1, -1, -1):
        parent = joints[index].parent
        if parent is not None:
            follows[parent] += follows[index]
    return [
        joint.skinned and part is not None and 0 < count < total
        for joint, part, count in zip(joints, body.parts, follows, strict=True)
    ]


def _reading_told_by(part: BodyPart, hinge: Hinge | None) -> str:
    if hinge is not None:
        return f"axis from {hinge.told_by}"
    if part.flexion == "any":
        return "the whole angle, whichever way it turns"
    return "the whole angle; for one way only: rotation about an axis"


def _span_told_by(part: BodyPart, hinge: Hinge | None, travel: int) -> str:
    if part.source is None:
        return ""
    less = part.travel - travel
    said = f"{part.movement} ({part.source})"
    return f"{said}, {less} of it at rest already" if less and hinge else said
