"""Readings."""

from __future__ import annotations

from typing import Literal, NamedTuple

from plica.skeleton.algebra import Quaternion, Vector


class Rotation(NamedTuple):
    """The signed angle about `axis` (a unit vector in the joint's rest frame) of the twist since rest."""

    joint: str
    axis: Vector
    kind: Literal["rotation"] = "rotation"


class Bend(NamedTuple):
    """The whole angle, 0 to pi, that the joint has turned since rest."""

    joint: str
    kind: Literal["bend"] = "bend"


class Swing(NamedTuple):
    """How far the axis `along` has swung toward `toward`: two unit vectors at right angles, in the rest frame."""

    joint: str
    along: Vector
    toward: Vector
    kind: Literal["swing"] = "swing"


class Euler(NamedTuple):
    """One Euler angle of the turn since rest, taken in the frame that `frame` turns the joint's rest frame into.

    `order` lists the axes in the order in which the turns are made about axes that stay put; `channel` is one of them.
    """

    joint: str
    order: str
    channel: Literal["x", "y", "z"]
    frame: Quaternion
    kind: Literal["euler"] = "euler"


class Offset(NamedTuple):
    """The joint's translation since rest (in its parent's frame) dotted with `weights`: metres of model space."""

    joint: str
    weights: Vector
    kind: Literal["offset"] = "offset"


class Gap(NamedTuple):
    """The distance between two joints' origins less their distance at rest, in metres."""

    joint: str
    other: str
    rest: float
    kind: Literal["gap"] = "gap"


class ControlValue(NamedTuple):
    """A control's value less its rest value."""

    control: str
    kind: Literal["control"] = "control"


Reading = Rotation | Bend | Swing | Euler | Offset | Gap | ControlValue
