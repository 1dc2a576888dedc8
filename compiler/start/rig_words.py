"""How a rig's values and names are written in a spec: the inverse of what binding and expanding make of them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from math import asin, atan2, sqrt
from typing import Any, Final, NamedTuple

from plica.evaluate.pose_components import skeleton_of
from plica.kinds.curves import curve_text
from plica.kinds.reading_kind import Needs, Part
from plica.kinds.readings import Reading, kind_of
from plica.quantities import number
from plica.rig.entry_text import vector_text
from plica.rig.rig import Rig
from plica.rig.strengths import Combination, StrengthOf
from plica.rig.surfaces import JointPose, Sculpt, StrengthPose
from plica.skeleton.algebra import (
    IDENTITY_QUATERNION,
    Quaternion,
    Vector,
    cross,
    determinant,
    scaled,
    times,
    transpose,
    unit,
)
from plica.start.spec_text import joint_text
from plica.syntax.builder import encode_text
from plica.units import UNITS, Dimension
from plica.values import LINEAR, Curve

_PART: Final = re.compile(r"\{(\w+)\}")
_OPTIONAL: Final = re.compile(r" \[([^\[\]]*)\]")
_EXACT: Final = 1e-9
_ANGLE_PLACES: Final = 6  # of degrees: an angle that is this plain but for rounding was written so
_INSIDE: Final = {Dimension.ANGLE: "rad", Dimension.LENGTH: "m"}


class UnwritableError(Exception):
    """Something that a rig says and that no spec can; the text says what."""


class _Called(NamedTuple):
    declared: str
    side: str


class Words:
    """A rig's names as declarations of one side write them.

    side: `both` for what is written of one side (`own`) and meant for both, else the declaration's own.
    """

    def __init__(self, rig: Rig, bases: Mapping[str, str], side: str, own: str = "left") -> None:
        """bases: what a pair of joints is called, by the name of either."""
        self._side, self._bases, self._own = side, bases, own
        self._joints = {joint.name: joint.side for joint in rig.skeleton}
        self._skeleton = skeleton_of(rig)
        tables = (rig.controls, rig.fields, rig.strengths, rig.regions, rig.shapes, rig.folds, rig.poses)
        self._entries = [{one.name: _Called(one.declared, one.side) for one in table} for table in tables]

    def entry(self, table: int, name: str) -> str:
        """A reference to an entry of a table, as the tables stand in `TABLES`."""
        called = self._entries[table].get(name)
        if called is None:
            raise UnwritableError(f"`{name}`, which is not declared")
        return self._sided(called.declared, called.side)

    def _sided(self, name: str, side: str) -> str:
        if side == "none" or (self._side == "both" and side == self._own):
            return name
        return f"{side} {name}"

    def joint(self, name: str) -> str:
        """A joint."""
        base = joint_text(self._bases.get(name, name))
        return self._sided(base, self._joints[name]) if name in self._bases else joint_text(name)

    def reading(self, reading: Reading) -> str:
        """What a driver reads."""
        return filled(kind_of(reading).phrase, lambda part: self._part(reading, part))

    def _part(self, reading: Any, name: str) -> str | None:
        kind = kind_of(reading)
        value: Any = kind.axis.vector(reading) if name == "axis" and kind.axis is not None else getattr(reading, name)
        if value is None:
            return None
        match kind.parts[name]:
            case Part.JOINT:
                return self.joint(value)
            case Part.CONTROL:
                return self.entry(CONTROLS, value)
            case Part.MORPH:
                return encode_text(value)
            case Part.CHANNEL | Part.ORDER:
                self._check_frame(reading)
                return str(value)
            case Part.ROTATION_AXIS | Part.DIRECTION:
                if kind.needs is not Needs.TRANSLATION:
                    return self.axis(reading.joint, value)
                if reading.relative_to is not None:
                    raise UnwritableError("a direction of another joint than the parent")
                return self._direction(reading.joint, value)

    def _check_frame(self, reading: Any) -> None:
        """Axes that follow in an order are the joint's own."""
        if any(abs(a - b) > _EXACT for a, b in zip(reading.frame, IDENTITY_QUATERNION, strict=True)):
            raise UnwritableError("an angle in a frame that is not the joint's own")

    def axis(self, joint: str, axis: Vector) -> str:
        """An axis of a joint's own at rest: by name, else one of the model's where it is, else all digits."""
        if not vector_text(axis).startswith("("):
            return vector_text(axis)
        there = vector_text(times(self._skeleton.orientation(self._skeleton.index[joint]), axis))
        return exact_vector(axis) if there.startswith("(") else f"{there} in model"

    def _direction(self, joint: str, weights: Vector) -> str:
        """The axis that an offset's weights, its parent's linear part transposed times the axis, stand for."""
        row = self._skeleton.index[joint]
        linear = self._skeleton.parent_frame(row).linear
        size = determinant(linear)
        if size == 0.0:
            raise UnwritableError("an offset under a parent with a scale of 0")
        a, b, c = linear
        # The inverse of a transposed matrix is that of its rows' cross products, over its determinant.
        inverse = cross(b, c), cross(c, a), cross(a, b)
        model = scaled(unit(times(inverse, weights)), 1.0 if size > 0.0 else -1.0)
        own = vector_text(times(transpose(self._skeleton.orientation(row)), model))
        if not vector_text(model).startswith("(") or own.startswith("("):
            return f"{exact_vector(model)} in model"
        return own

    def turn(self, joint: str, rotation: Quaternion) -> str:
        """A unit quaternion in a joint's own frame as one turn."""
        x, y, z, w = rotation if rotation[3] >= 0.0 else tuple(-part for part in rotation)
        size = sqrt(x * x + y * y + z * z)
        if size == 0.0:
            return "about x 0 deg"
        angle = 2.0 * atan2(size, w)
        degrees = round(angle / UNITS["deg"].size, _ANGLE_PLACES)
        if abs(degrees * UNITS["deg"].size - angle) <= _EXACT:
            angle = degrees * UNITS["deg"].size
        return f"about {self.axis(joint, (x / size, y / size, z / size))} {quantity(angle, 'deg')}"

    def combination(self, combination: Combination | StrengthOf) -> str:
        """A strength made of others."""
        if isinstance(combination, StrengthOf):
            return self.entry(STRENGTHS, combination.strength)
        return f"{combination.how}({', '.join(map(self.combination, combination.parts))})"

    def pose(self, items: tuple[StrengthPose | JointPose, ...]) -> str:
        """The parts of a pose."""
        return ", ".join(map(self._pose_item, items))

    def _pose_item(self, item: StrengthPose | JointPose) -> str:
        if isinstance(item, StrengthPose):
            return f"{self.entry(STRENGTHS, item.strength)} {plain(item.amount)}"
        return f"about {self.axis(item.joint, item.axis)} of {self.joint(item.joint)} {quantity(item.angle, 'deg')}"

    def sculpt(self, sculpt: Sculpt) -> str:
        """A file with the pose that it was made in, and the shapes that were on."""
        posed = f"  posed at {self.pose(sculpt.pose)}" if sculpt.pose else ""
        after = f"  after {', '.join(self.entry(SHAPES, name) for name in sculpt.after)}" if sculpt.after else ""
        return encode_text(sculpt.file) + posed + after


CONTROLS, FIELDS, STRENGTHS, REGIONS, SHAPES, FOLDS, POSES = range(7)


def filled(phrase: str, part: Any) -> str:
    """A phrase with its parts; optional ones are there where their parts are."""

    def optional(found: re.Match[str]) -> str:
        parts = {name: part(name) for name in _PART.findall(found[1])}
        if None in parts.values():
            return ""
        return " " + _PART.sub(lambda one: str(parts[one[1]]), found[1])

    return _PART.sub(lambda one: str(part(one[1])), _OPTIONAL.sub(optional, phrase))


def plain(value: float) -> str:
    """A plain number in as few digits as say it."""
    for digits in (6, 9, 12, 15):
        text = number(value, digits)
        if float(text) == value:
            return text
    return repr(value)


def quantity(value: float, unit: str) -> str:
    """An amount in a unit, in as few digits as say it exactly; in the unit that Plica computes with where none do."""
    size, inside = UNITS[unit].size, _INSIDE.get(UNITS[unit].dimension)
    for digits in (6, 9, 12, 15):
        text = number(value / size, digits)
        if float(text) * size == value:
            return f"{text} {unit}"
    return f"{plain(value)} {inside}" if inside is not None else f"{value / size!r} {unit}"


def exact_vector(vector: Vector) -> str:
    """An axis: by name where it is one, else all digits."""
    named = vector_text(vector)
    return f"({', '.join(map(plain, vector))})" if named.startswith("(") else named


def kernel_angle(width: float) -> str:
    """The angle that a Gaussian's width, a distance x = 2 sin(angle / 2), stands for."""
    return quantity(2.0 * asin(min(1.0, width / 2.0)), "deg")


def response(curve: Curve) -> str | None:
    """A curve; None for the straight line, which is what no curve means. Points alone mean monotone cubics."""
    return None if curve == LINEAR else curve_text(curve, plain).removeprefix("monotone ")
