"""Readings, fields and poses of one side: axes in the joint's rest frame, mirrored where they were written for the
other side."""

from __future__ import annotations

from typing import Literal, NamedTuple

from plica.diagnostics import Diagnostics
from plica.kinds.readings import Bend, ControlValue, Euler, Gap, Offset, Reading, Rotation, Swing
from plica.rig.mirror import NO_MIRROR, FrameMirror, mirror_between
from plica.rig.output_names import Naming
from plica.rig.strengths import Field, FieldSample
from plica.rig.surfaces import JointPose, StrengthPose
from plica.rounding import rounded, rounded_number
from plica.skeleton.algebra import (
    IDENTITY_QUATERNION,
    Quaternion,
    Vector,
    about,
    add,
    determinant,
    dot,
    length,
    multiply,
    scaled,
    subtract,
    times,
    transpose,
    unit,
)
from plica.source import Span
from plica.spec import entries as spec
from plica.spec.entries import OneSide


class Frames(NamedTuple):
    """What resolving an axis needs: the skeleton with its plane, the names, and where to report."""

    bound: spec.BoundSkeleton
    naming: Naming
    diagnostics: Diagnostics

    def joint_name(self, index: int) -> str:
        """A joint's name."""
        return self.bound.skeleton.joints[index].name

    def mirror(self, joint: spec.JointRef, mirrored: bool) -> FrameMirror:
        """The mirror that takes what is written for a joint to this side; none where nothing is mirrored."""
        if not mirrored or joint.literal or self.bound.plane is None:
            return NO_MIRROR
        return mirror_between(self.bound.skeleton, self.bound.plane, joint.left, joint.right)

    def direction(self, axis: spec.AxisValue, index: int) -> Vector:
        """A direction in a joint's own rest axes."""
        return self._own(axis, index)[0]

    def rotation_axis(self, axis: spec.AxisValue, index: int) -> Vector:
        """A rotation axis in a joint's own rest axes; a pseudovector, so mirrored frames turn it round."""
        vector, sign = self._own(axis, index)
        return scaled(vector, sign)

    def _own(self, axis: spec.AxisValue, index: int) -> tuple[Vector, float]:
        if axis.space == "joint":
            return axis.vector, 1.0
        own = self.bound.skeleton.orientation(index)
        vector, sign = axis.vector, determinant(own)
        if axis.space == "parent":
            parent = self.bound.skeleton.joints[index].parent
            if parent is not None:
                around = self.bound.skeleton.orientation(parent)
                vector = times(around, vector)
                sign *= determinant(around)
        return times(transpose(own), vector), 1.0 if sign > 0 else -1.0

    def turn(self, turns: tuple[spec.TurnValue, ...], index: int) -> Quaternion:
        """Turns one after the other, about axes that stay put, as one turn in the joint's rest frame."""
        rotation = IDENTITY_QUATERNION
        for turn in turns:
            rotation = multiply(about(self.rotation_axis(turn.axis, index), turn.angle), rotation)
        return rotation


def expand_reading(
    reading: spec.ReadingOf, side: OneSide, mirrored: bool, frames: Frames, span: Span
) -> Reading | None:
    """A reading for one side, or None after a diagnostic."""
    if isinstance(reading, spec.ControlOf):
        return ControlValue(frames.naming.target(reading.control, side))
    index = reading.joint.right if side == "right" else reading.joint.left
    name = frames.joint_name(index)
    written = reading.joint.left
    mirror = frames.mirror(reading.joint, mirrored)
    if not mirrored:
        written = index
    if isinstance(reading, spec.RotationOf):
        return Rotation(name, mirror.axis(frames.rotation_axis(reading.axis, written)))
    if isinstance(reading, spec.BendOf):
        return Bend(name)
    if isinstance(reading, spec.SwingOf):
        return _swing(reading, name, written, mirror, frames, span)
    if isinstance(reading, spec.EulerOf):
        return Euler(name, reading.order, reading.channel, mirror.frame)
    if isinstance(reading, spec.OffsetOf):
        return Offset(name, _offset_weights(reading, index, written, mirror, frames))
    other = reading.other.right if side == "right" else reading.other.left
    skeleton = frames.bound.skeleton
    distance = length(subtract(skeleton.frames[index].origin, skeleton.frames[other].origin))
    return Gap(name, frames.joint_name(other), rounded_number(distance))


def _swing(
    reading: spec.SwingOf, name: str, written: int, mirror: FrameMirror, frames: Frames, span: Span
) -> Swing | None:
    along = frames.direction(reading.along, written) if reading.along else _long_axis(written, frames)
    if along is None:
        frames.diagnostics.add("swing-without-axis", span, name=name)
        return None
    toward = frames.direction(reading.toward, written)
    aside = subtract(toward, scaled(along, dot(toward, along)))
    if length(aside) < 1e-6:
        frames.diagnostics.add("swing-along-itself", span, name=name)
        return None
    return Swing(name, mirror.direction(along), mirror.direction(unit(aside)))


def _long_axis(index: int, frames: Frames) -> Vector | None:
    """The direction from a joint to the middle of its children, in its own rest axes."""
    skeleton = frames.bound.skeleton
    origins = [skeleton.frames[child].origin for child in skeleton.children(index)]
    if not origins:
        return None
    middle = (0.0, 0.0, 0.0)
    for origin in origins:
        middle = add(middle, scaled(origin, 1 / len(origins)))
    along = subtract(middle, skeleton.frames[index].origin)
    if length(along) < 1e-9:
        return None
    return unit(times(transpose(skeleton.orientation(index)), along))


def _offset_weights(reading: spec.OffsetOf, index: int, written: int, mirror: FrameMirror, frames: Frames) -> Vector:
    """What a translation in the parent's frame counts: the axis in model space through the parent's rest frame.

    The parent's scale is in it, so that the reading is in metres of the model.
    """
    skeleton = frames.bound.skeleton
    own = mirror.direction(frames.direction(reading.axis, written))
    in_model = times(skeleton.orientation(index), own)
    return rounded(times(transpose(skeleton.parent_frame(index).linear), in_model))


def expand_pose(
    pose: tuple[spec.StrengthPoseOf | spec.JointPoseOf, ...], side: OneSide, mirrored: bool, frames: Frames
) -> tuple[StrengthPose | JointPose, ...]:
    """A sculpt's pose for one side."""
    items: list[StrengthPose | JointPose] = []
    for item in pose:
        if isinstance(item, spec.StrengthPoseOf):
            items.append(StrengthPose(frames.naming.target(item.strength, side), item.amount))
            continue
        index = item.joint.right if side == "right" else item.joint.left
        axis = frames.rotation_axis(item.axis, item.joint.left if mirrored else index)
        mirrored_axis = frames.mirror(item.joint, mirrored).axis(axis)
        items.append(JointPose(frames.joint_name(index), mirrored_axis, item.angle))
    return tuple(items)


def expand_field(entry: spec.Entry[spec.FieldFacts], side: OneSide, frames: Frames) -> Field | None:
    """A field for one side with its solved coefficients, or None after a diagnostic."""
    from plica.rig.radial import rounded_solution

    declared, facts = entry.declared, entry.facts(side)
    joint_mirrored = entry.mirrored(side, "reads")
    index = facts.joint.right if side == "right" else facts.joint.left
    mirror = frames.mirror(facts.joint, joint_mirrored)
    written = facts.joint.left if joint_mirrored else index
    axis = mirror.direction(frames.direction(facts.direction, written)) if facts.direction else None
    sample_mirror = frames.mirror(facts.joint, entry.mirrored(side, "sample"))
    sample_written = facts.joint.left if entry.mirrored(side, "sample") else index
    samples = [FieldSample("rest", IDENTITY_QUATERNION)]
    for sample in facts.samples:
        turn = sample_mirror.turn(frames.turn(sample.turns, sample_written))
        samples.append(FieldSample(sample.name, turn))
    metric: Literal["rotation", "direction"] = "rotation" if axis is None else "direction"
    try:
        width, coefficients, constants = rounded_solution(
            samples,
            metric,
            axis,
            facts.kernel,
            facts.width,
        )
    except ValueError as error:
        frames.diagnostics.add("samples-coincide", declared.span, name=declared.name, reason=error)
        return None
    return Field(
        name=frames.naming.of(declared.name, side),
        side=side,
        declared=declared.name,
        joint=frames.joint_name(index),
        metric=metric,
        axis=axis,
        kernel=facts.kernel,
        width=width,
        samples=tuple(samples),
        coefficients=coefficients,
        constants=constants,
        about=declared.about,
    )
