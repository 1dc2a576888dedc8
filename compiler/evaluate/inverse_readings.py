"""Readings turned round: poses in which a driver's reading has a given value."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import isfinite
from typing import Any, Final

from plica.evaluate.poses import JointPlacement, SparsePose
from plica.kinds.readings import (
    AXES,
    Bend,
    Euler,
    Gap,
    Offset,
    Reading,
    Rotation,
    Scale,
    SeenFrom,
    Swing,
    chain_ends,
    complete,
    controls_of,
    joints_of,
    kind_of,
    seen,
)
from plica.rig.rig import Rig
from plica.rig.strengths import Control
from plica.skeleton.algebra import (
    Quaternion,
    Vector,
    about,
    add,
    conjugate,
    cross,
    determinant,
    dot,
    length,
    multiply,
    normalised,
    scaled,
    subtract,
    times,
    unit,
)
from plica.skeleton.chains import chains_between, frame_seen_from, joints_between, own_flip
from plica.skeleton.skeleton import Skeleton

X_AXIS = AXES["x"]


class ReadingInverter:
    """Makes poses of one rig. Numbers have 15 significant digits, so that their text says exactly the same."""

    def __init__(self, rig: Rig, skeleton: Skeleton) -> None:
        self.skeleton = skeleton
        self._controls: dict[str, Control] = {control.name: control for control in rig.controls}

    def pose(self, reading: Reading, value: float) -> SparsePose | None:
        """A pose, otherwise at rest, with this reading (radians, metres, a control's unit); None where none has it."""
        return INVERSES[kind_of(reading).name](self, reading, value)

    def set_control(self, name: str, value: float) -> SparsePose:
        """A pose with a control this far from its rest value."""
        return SparsePose({}, {name: rounded(self._controls[name].rest + value)})

    def turned(self, joint: str, turn: Quaternion) -> SparsePose:
        """A pose with one joint turned since rest."""
        rest = self.skeleton.joints[self.skeleton.index[joint]].rotation
        x, y, z, w = normalised(multiply(rest, turn))
        return SparsePose({joint: JointPlacement(rotation=(rounded(x), rounded(y), rounded(z), rounded(w)))})

    def moved(self, joint: str, step: Vector) -> SparsePose:
        """A pose with one joint moved since rest, in its parent's frame."""
        x, y, z = add(self.skeleton.joints[self.skeleton.index[joint]].translation, step)
        return SparsePose({joint: JointPlacement(translation=(rounded(x), rounded(y), rounded(z)))})

    def scaled(self, joint: str, factors: Vector) -> SparsePose:
        """A pose with one joint's scale at rest times `factors`, along its own axes."""
        rest = self.skeleton.joints[self.skeleton.index[joint]].scale
        x, y, z = (rounded(own * factor) for own, factor in zip(rest, factors, strict=True))
        return SparsePose({joint: JointPlacement(scale=(x, y, z))})

    def needed(self, reading: Reading) -> frozenset[str]:
        """The joints whose pose a reading depends on."""
        ends = chain_ends(reading)
        return frozenset(joints_of(reading)) if ends is None else joints_between(self.skeleton, *ends)

    def looked_at(self, one: SeenFrom) -> frozenset[str]:
        """The joints whose pose decides how a joint has turned as its parent or another joint sees it."""
        if one.relative_to is None:
            return frozenset((one.joint,))
        return joints_between(self.skeleton, one.joint, one.relative_to)

    def turned_as_seen(self, one: SeenFrom, turn: Quaternion) -> SparsePose:
        """A pose in which a joint has turned since rest, as its parent or another joint sees it.

        The joint itself turns. Where it carries the one that looks, that does not show; then the joint below it on the
        way there turns the other way.
        """
        if one.relative_to is None:
            return self.turned(one.joint, turn)
        chains = chains_between(self.skeleton, one.joint, one.relative_to)
        if chains.first:
            return self.turned(one.joint, turn)
        top = self.skeleton.joints[chains.second[-1]]
        (x, y, z, w), flip = turn, own_flip(self.skeleton, one.joint, chains)
        # Seen from the joint, what is below it has turned back: before its rest rotation, not after it.
        back = (-x * flip[0], -y * flip[1], -z * flip[2], w)
        own = multiply(conjugate(top.rotation), multiply(back, top.rotation))
        return self.turned(top.name, own)

    def moved_as_seen(self, reading: Offset, step: Vector) -> SparsePose | None:
        """A pose in which a joint has moved since rest by a step in the frame of the joint that looks, metres."""
        assert reading.relative_to is not None
        chains = chains_between(self.skeleton, reading.joint, reading.relative_to)
        moving, sign = (chains.first[0], 1.0) if chains.first else (chains.second[-1], -1.0)
        in_model = times(frame_seen_from(self.skeleton, chains), scaled(step, sign))
        local = solved(self.skeleton.parent_frame(moving).linear, in_model)
        return None if local is None else self.moved(self.skeleton.joints[moving].name, local)

    def apart(self, reading: Gap, value: float) -> SparsePose | None:
        """Moves one joint along the line between the two: the one that does not carry the other along."""
        index = self.skeleton.index
        mover, fixed = reading.joint, reading.other
        if index[mover] in self.skeleton.ancestors(index[fixed]):
            mover, fixed = fixed, mover
        apart = subtract(self.skeleton.frames[index[mover]].origin, self.skeleton.frames[index[fixed]].origin)
        if value < -length(apart):
            return None
        step = scaled(unit(apart) if length(apart) > 0 else X_AXIS, value)
        columns = self.skeleton.parent_frame(index[mover]).linear
        local = solved(columns, step)
        return None if local is None else self.moved(mover, local)


# ---- each kind ---------------------------------------------------------------------------------------------


def _rotation(placer: ReadingInverter, reading: Rotation, value: float) -> SparsePose:
    return placer.turned_as_seen(seen(reading), about(reading.axis, value))


def _bend(placer: ReadingInverter, reading: Bend, value: float) -> SparsePose:
    return placer.turned_as_seen(seen(reading), about(X_AXIS, value))


def _swing(placer: ReadingInverter, reading: Swing, value: float) -> SparsePose:
    return placer.turned_as_seen(seen(reading), about(cross(reading.along, reading.toward), value))


def _euler(placer: ReadingInverter, reading: Euler, value: float) -> SparsePose:
    turn = about(AXES[reading.channel], value)
    return placer.turned_as_seen(seen(reading), multiply(multiply(conjugate(reading.frame), turn), reading.frame))


def _offset(placer: ReadingInverter, reading: Offset, value: float) -> SparsePose | None:
    size = dot(reading.weights, reading.weights)
    if size == 0:
        return None
    step = scaled(reading.weights, value / size)
    return placer.moved(reading.joint, step) if reading.relative_to is None else placer.moved_as_seen(reading, step)


def _scale(placer: ReadingInverter, reading: Scale, value: float) -> SparsePose:
    """Each own axis scaled by its share in the axis, which is the least change that gives the value."""
    x, y, z = (part * part for part in reading.axis)
    whole = x * x + y * y + z * z
    return placer.scaled(reading.joint, (1.0 + value * x / whole, 1.0 + value * y / whole, 1.0 + value * z / whole))


def _control(placer: ReadingInverter, reading: Reading, value: float) -> SparsePose:
    return placer.set_control(controls_of(reading)[0], value)


# Each takes the record of its kind.
INVERSES: Final[Mapping[str, Callable[[ReadingInverter, Any, float], SparsePose | None]]] = complete(
    "inverse",
    {
        "rotation": _rotation,
        "bend": _bend,
        "swing": _swing,
        "euler": _euler,
        "offset": _offset,
        "scale": _scale,
        "gap": ReadingInverter.apart,
        "control": _control,
        "weight": _control,
    },
)
"""For each kind: a pose, otherwise at rest, in which a reading has a value; None where none has it."""


def solved(matrix: tuple[Vector, Vector, Vector], right: Vector) -> Vector | None:
    """The solution of matrix x = right by Cramer's rule; None where the matrix is singular."""
    whole = determinant(matrix)
    if whole == 0:
        return None
    parts = [determinant(_with_column(matrix, right, column)) / whole for column in range(3)]
    return (parts[0], parts[1], parts[2]) if all(map(isfinite, parts)) else None


def _with_column(matrix: tuple[Vector, Vector, Vector], values: Vector, column: int) -> tuple[Vector, Vector, Vector]:
    rows = [tuple(values[row] if at == column else matrix[row][at] for at in range(3)) for row in range(3)]
    (a, b, c), (d, e, f), (g, h, i) = rows
    return ((a, b, c), (d, e, f), (g, h, i))


def rounded(value: float) -> float:
    """The value with 15 significant digits: what survives being written as text and read again anywhere."""
    return float(f"{value:.15g}") + 0.0
