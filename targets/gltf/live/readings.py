"""Readings as nodes: for each kind, a factor times the reading, as `plica.evaluate.readings` has it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import copysign
from typing import Any, Final, NamedTuple

from plica.kinds.readings import (
    Bend,
    ControlValue,
    Euler,
    Gap,
    MorphWeight,
    Offset,
    Reading,
    Rotation,
    Scale,
    Swing,
    complete,
    seen,
)
from plica.skeleton.algebra import cross, dot, length, matrix_of
from plica.targets.gltf.live.arithmetic import Arithmetic
from plica.targets.gltf.live.graph import Output
from plica.targets.gltf.live.joints import AXIS_BITS, Joints

DEAD: Final = 1e-13
"""Shares this far above 0 are 0 where the rest pose has to be. Rounding at rest stays a hundred times below it."""
_HALF_TURN: Final = 1e-20
_NO_TURN: Final = 1e-38
"""The least single precision number of full precision, about."""
_EVEN_ORDERS: Final = ("xyz", "yzx", "zxy")
_GIMBAL_LOCK: Final = 1e-7


class Wish(NamedTuple):
    """What is asked of a reading: it times `gain`; `below`: at rest a hair below 0 will do, but not above."""

    gain: float
    below: bool


class Found(NamedTuple):
    """The reading times the gain. `settled`: at rest it is exactly 0, in whichever order an engine adds up the terms of
    a sum, or at most 0 where that was asked for."""

    output: Output
    settled: bool


class ReadingSource(NamedTuple):
    """What readings are built with; `control_rests`: the rest values of controls and of morph targets' weights."""

    build: Arithmetic
    joints: Joints
    control_rests: Mapping[str, float]


def scaled_reading(source: ReadingSource, reading: Reading, wish: Wish) -> Found:
    """The nodes of a reading times a gain."""
    return _KINDS[reading.kind](source, reading, wish)


def _rotation(source: ReadingSource, reading: Rotation, wish: Wish) -> Found:
    """2 atan(s / w), s the part of the turn along the axis.

    For half turns, w = 0, the quotient must be large and positive whatever the sign of s, and 0 where s is 0 too: a
    tiny part of s is added to w, and a tinier number. Neither changes any other result: both are lost in rounding.
    A hair of w is taken off s where the reading has to be below 0 at rest.
    """
    build, turn = source.build, source.joints.turn(seen(reading))
    hair = copysign(DEAD, wish.gain) if wish.below else 0.0
    share = build.dot(turn.output, turn.along(reading.axis, -hair))
    scalar = build.dot(turn.output, turn.along([_HALF_TURN * part for part in reading.axis], 1.0))
    half = build.applied("atan", build.divide(share, build.add(scalar, _NO_TURN)))
    return Found(build.multiply(half, 2.0 * wish.gain), settled=wish.below)


def _bend(source: ReadingSource, reading: Bend, wish: Wish) -> Found:
    build, turn = source.build, source.joints.turn(seen(reading))
    size = build.length(build.multiply(turn.output, AXIS_BITS))
    scalar = build.applied("abs", build.dot(turn.output, (0.0, 0.0, 0.0, 1.0)))
    return Found(build.multiply(build.arc_tangent_of(size, scalar), 2.0 * wish.gain), settled=False)


def _swing(source: ReadingSource, reading: Swing, wish: Wish) -> Found:
    """The angle times the scalar product of two unit vectors; what is null stays null when it is normalised."""
    build, turn = source.build, source.joints.turn(seen(reading))
    beside = cross(reading.along, reading.toward)
    twist, toward, side = (build.dot(turn.output, turn.along(axis)) for axis in (reading.along, reading.toward, beside))
    kept = build.combined(twist, build.dot(turn.output, (0.0, 0.0, 0.0, 1.0)))
    across = build.combined(toward, side)
    share = build.dot(build.normalised(kept), build.normalised(across))
    half = build.arc_tangent_of(build.length(across), build.length(kept))
    return Found(build.multiply(build.multiply(half, share), 2.0 * wish.gain), settled=False)


def _euler(source: ReadingSource, reading: Euler, wish: Wish) -> Found:
    """One angle of three, by the formulas that `plica.evaluate.readings.Eulers` derives."""
    build, turn = source.build, source.joints.turn(seen(reading))
    rows = matrix_of(reading.frame)
    first, middle, last = (rows["xyz".index(channel)] for channel in reading.order)
    odd = reading.order not in _EVEN_ORDERS
    if odd:
        middle = (-middle[0], -middle[1], -middle[2])
    p, q, r = (build.dot(turn.output, turn.along(axis)) for axis in (first, middle, last))
    w = build.dot(turn.output, (0.0, 0.0, 0.0, 1.0))
    parts = _EulerParts(build, p, q, r, w)
    place = reading.order.index(reading.channel)
    angle = (parts.first, parts.middle, parts.last)[place]()
    sign = -1.0 if place == 1 and odd else 1.0
    return Found(build.multiply(angle, sign * wish.gain), settled=False)


class _EulerParts(NamedTuple):
    """The parts p, q, r of a turn along the order's axes, and w."""

    build: Arithmetic
    p: Output
    q: Output
    r: Output
    w: Output

    def twice(self, a: Output, b: Output, c: Output, d: Output, sign: float = 1.0) -> Output:
        """2 (a b + sign c d)."""
        both = self.build.multiply(a, b), self.build.multiply(c, d)
        joined = self.build.add(*both) if sign > 0 else self.build.subtract(*both)
        return self.build.multiply(joined, 2.0)

    def balance(self, *minus: Output) -> Output:
        """The squares of all four added up, those of two of them with a minus."""
        square = self.build.multiply
        plus = [part for part in (self.w, self.p, self.q, self.r) if part not in minus]
        kept, taken = (self.build.add(square(a, a), square(b, b)) for a, b in (plus, minus))
        return self.build.subtract(kept, taken)

    def cosine(self) -> tuple[Output, Output, Output]:
        """The two arguments of the last angle, and their length."""
        rise, run = self.twice(self.w, self.r, self.p, self.q), self.balance(self.q, self.r)
        return rise, run, self.build.length(self.build.combined(rise, run))

    def locked(self, size: Output) -> Output:
        """Whether the two outer axes are one."""
        whole = self.build.combined(self.p, self.q, self.r, self.w)
        return self.build.compared("le", size, self.build.multiply(self.build.dot(whole, whole), _GIMBAL_LOCK))

    def first(self) -> Output:
        """The first angle, all of both outer ones in gimbal lock."""
        locked = self.locked(self.cosine()[2])
        rises = self.twice(self.w, self.p, self.q, self.r, -1.0), self.twice(self.w, self.p, self.q, self.r)
        runs = self.balance(self.p, self.r), self.balance(self.p, self.q)
        return self.build.arc_tangent_of(self.build.chosen(locked, *rises), self.build.chosen(locked, *runs))

    def middle(self) -> Output:
        """The middle angle, of an even order."""
        return self.build.arc_tangent_of(self.twice(self.w, self.q, self.p, self.r, -1.0), self.cosine()[2])

    def last(self) -> Output:
        """The last angle, 0 in gimbal lock."""
        rise, run, size = self.cosine()
        return self.build.chosen(self.locked(size), 0.0, self.build.arc_tangent_of(rise, run))


def _offset(source: ReadingSource, reading: Offset, wish: Wish) -> Found:
    build, joints = source.build, source.joints
    factor = wish.gain * joints.places.metres
    weights = [factor * part for part in reading.weights]
    if reading.relative_to is None:
        rest = joints.places.neutral[reading.joint].translation
        return Found(build.dot(build.subtract(joints.translation(reading.joint), rest), weights), settled=True)
    way, rest = joints.seen_way(reading.joint, reading.relative_to)
    moved = build.dot(way, weights)
    x, y, z = weights
    return Found(build.subtract(moved, dot((x, y, z), rest)), settled=False)


def _scale(source: ReadingSource, reading: Scale, wish: Wish) -> Found:
    rest = source.joints.places.neutral[reading.joint].scale
    weights = [wish.gain * part * part / own for part, own in zip(reading.axis, rest, strict=True)]
    grown = source.build.subtract(source.joints.scale(reading.joint), rest)
    return Found(source.build.dot(grown, weights), settled=True)


def _gap(source: ReadingSource, reading: Gap, wish: Wish) -> Found:
    """The distance less that at rest, which a hair is added to where the reading has to be below 0 there."""
    build = source.build
    way, rest = source.joints.way(reading.joint, reading.other)
    factor = wish.gain * source.joints.places.metres
    hair = DEAD / factor if wish.below else 0.0
    wider = build.subtract(build.length(way), length(rest) + hair)
    return Found(build.multiply(wider, factor), settled=wish.below)


def _control(source: ReadingSource, reading: ControlValue, wish: Wish) -> Found:
    build, rest = source.build, source.control_rests[reading.control]
    place = build.read(f"/nodes/{source.joints.places.controls[reading.control]}/translation", "float3")
    moved = place if rest == 0.0 else build.subtract(place, (rest, 0.0, 0.0))
    return Found(build.dot(moved, (wish.gain, 0.0, 0.0)), settled=True)


def _weight(source: ReadingSource, reading: MorphWeight, wish: Wish) -> Found:
    node, index = source.joints.places.morphs[reading.morph]
    weight = source.build.read(f"/nodes/{node}/weights/{index}", "float")
    rest = source.control_rests[f"weight of {reading.morph}"]
    return Found(source.build.multiply(source.build.subtract(weight, rest), wish.gain), settled=True)


# Each takes the records of its kind.
_KINDS: Final[Mapping[str, Callable[[ReadingSource, Any, Wish], Found]]] = complete(
    "nodes of a behaviour graph",
    {
        "rotation": _rotation,
        "bend": _bend,
        "swing": _swing,
        "euler": _euler,
        "offset": _offset,
        "scale": _scale,
        "gap": _gap,
        "control": _control,
        "weight": _weight,
    },
)
