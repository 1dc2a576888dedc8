"""Readings and poses of one side: axes in the joint's rest frame, mirrored where they were written for the
other side."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final, assert_never

from plica.diagnostics import Diagnostics
from plica.kinds.reading_kind import IncompleteKindError, Part, ReadingKind
from plica.kinds.readings import READING_KINDS, Reading
from plica.named_tuples import NamedTuple
from plica.rig.mirror import NO_MIRROR, FrameMirror, mirror_between
from plica.rig.output_names import Naming
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
from plica.skeleton.chains import chains_between, frame_seen_from
from plica.source import Span
from plica.spec import entries as spec
from plica.spec.entries import AxisValue, JointRef, OneSide, ReadingOf


class Frames(NamedTuple):
    """What resolving an axis needs: the skeleton with its plane, the names, and where to report."""

    bound: spec.BoundSkeleton
    naming: Naming
    diagnostics: Diagnostics

    def joint_name(self, index: int) -> str:
        """A joint's name."""
        return self.bound.skeleton.joints[index].name

    def mirror(self, joint: JointRef, mirrored: bool) -> FrameMirror:
        """The mirror that takes what is written for a joint to this side; none where nothing is mirrored."""
        if not mirrored or joint.literal or self.bound.plane is None:
            return NO_MIRROR
        return mirror_between(self.bound.skeleton, self.bound.plane, joint.left, joint.right)

    def direction(self, axis: AxisValue, index: int) -> Vector:
        """A direction in a joint's own rest axes."""
        return self._own(axis, index)[0]

    def rotation_axis(self, axis: AxisValue, index: int) -> Vector:
        """A rotation axis in a joint's own rest axes; a pseudovector, so mirrored frames turn it round."""
        vector, sign = self._own(axis, index)
        return scaled(vector, sign)

    def _own(self, axis: AxisValue, index: int) -> tuple[Vector, float]:
        if axis.space == "joint":
            return axis.vector, 1.0
        own = self.bound.skeleton.orientation(index)
        vector, sign = axis.vector, determinant(own)
        if axis.space == "parent":
            around = self.bound.skeleton.axes_around(index)
            vector = times(around, vector)
            sign *= determinant(around)
        return times(transpose(own), vector), 1.0 if sign > 0 else -1.0

    def turn(self, turns: tuple[spec.TurnValue, ...], index: int) -> Quaternion:
        """Turns one after the other, about axes that stay put, as one turn in the joint's rest frame."""
        rotation = IDENTITY_QUATERNION
        for turn in turns:
            rotation = multiply(about(self.rotation_axis(turn.axis, index), turn.angle), rotation)
        return rotation


class Resolving(NamedTuple):
    """A reading on its way to one side: its parts, the frames, and the declaration to report at.

    `joint` is the index of the joint that is read, `written` of the one whose frame the axes were written in, `mirror`
    what takes them from the one to the other.
    """

    parts: Mapping[str, Any]
    side: OneSide
    joint: int
    written: int
    mirror: FrameMirror
    frames: Frames
    span: Span

    def on_side(self, joint: JointRef) -> int:
        """The joint of this side."""
        return on_side(joint, self.side)

    def direction(self, axis: AxisValue) -> Vector:
        """A direction as written, not mirrored, in the axes of the joint that it was written for."""
        return self.frames.direction(axis, self.written)


def expand_reading(reading: ReadingOf, side: OneSide, mirrored: bool, frames: Frames, span: Span) -> Reading | None:
    """A reading for one side, or None after a diagnostic.

    A field of the Rig's record that is named as a part is derived from it; any other is computed by `COMPUTED`.
    """
    kind = READING_KINDS[reading.kind]
    parts = reading.parts
    joint = parts.get("joint")
    if isinstance(joint, JointRef):
        index = on_side(joint, side)
        written = joint.left if mirrored else index
        resolving = Resolving(parts, side, index, written, frames.mirror(joint, mirrored), frames, span)
    else:
        resolving = Resolving(parts, side, -1, -1, NO_MIRROR, frames, span)
    computed = COMPUTED[kind.name](resolving) if kind.name in COMPUTED else {}
    if computed is None:
        return None
    values = [
        computed[name] if name in computed else _derived(kind.parts[name], parts[name], resolving)
        for name in kind.fields
    ]
    made: Reading = kind.record(*values)
    return made


def on_side(joint: JointRef, side: OneSide) -> int:
    """The joint of one side."""
    return joint.right if side == "right" else joint.left


def _derived(sort: Part, part: Any, resolving: Resolving) -> Any:
    """A part as a field of the Rig's record."""
    frames = resolving.frames
    if part is None:
        return None
    match sort:
        case Part.JOINT:
            return frames.joint_name(resolving.on_side(part))
        case Part.ROTATION_AXIS:
            return resolving.mirror.axis(frames.rotation_axis(part, resolving.written))
        case Part.DIRECTION:
            return resolving.mirror.direction(resolving.direction(part))
        case Part.CHANNEL | Part.ORDER:
            return part
        case Part.MORPH:
            target: spec.MorphTarget = part.right if resolving.side == "right" else part.left
            return target.name
        case Part.CONTROL:
            return frames.naming.target(part, resolving.side)
    assert_never(sort)


# ---- fields that are not a part of the phrase --------------------------------------------------------------


def _swing(resolving: Resolving) -> dict[str, Any] | None:
    """Both directions, at right angles; where none is written, `along` leads to the joint's children."""
    frames, name = resolving.frames, resolving.frames.joint_name(resolving.joint)
    given = resolving.parts["along"]
    along = resolving.direction(given) if given is not None else long_axis(resolving.written, frames)
    if along is None:
        frames.diagnostics.add("swing-without-axis", resolving.span, name=name)
        return None
    toward = resolving.direction(resolving.parts["toward"])
    aside = subtract(toward, scaled(along, dot(toward, along)))
    if length(aside) < 1e-6:
        frames.diagnostics.add("swing-along-itself", resolving.span, name=name)
        return None
    mirror = resolving.mirror
    return {"along": mirror.direction(along), "toward": mirror.direction(unit(aside))}


def _euler(resolving: Resolving) -> dict[str, Any]:
    return {"frame": resolving.mirror.frame}


def _offset(resolving: Resolving) -> dict[str, Any]:
    """What a translation in the parent's frame counts: the axis in model space through the parent's rest frame.

    The parent's scale is in it, so that the reading is in metres of the model. Where another joint looks, the axis is
    carried into its frame at rest, and metres are what is looked at.
    """
    frames, skeleton = resolving.frames, resolving.frames.bound.skeleton
    own = resolving.mirror.direction(resolving.direction(resolving.parts["axis"]))
    in_model = times(skeleton.orientation(resolving.joint), own)
    other = resolving.parts["relative_to"]
    if other is not None:
        names = frames.joint_name(resolving.joint), frames.joint_name(resolving.on_side(other))
        frame = frame_seen_from(skeleton, chains_between(skeleton, *names))
        return {"weights": rounded(times(transpose(frame), in_model))}
    return {"weights": rounded(times(transpose(skeleton.parent_frame(resolving.joint).linear), in_model))}


def _scale(resolving: Resolving) -> dict[str, Any] | None:
    """Nothing more; but a scale of 0 at rest cannot be compared with, and one that is mirrored onto an axis between the
    joint's own has no mirror image."""
    frames = resolving.frames
    name = frames.joint_name(resolving.joint)
    axis = resolving.mirror.direction(resolving.direction(resolving.parts["axis"]))
    rest = frames.bound.skeleton.joints[resolving.joint].scale
    if any(own == 0.0 and part != 0.0 for own, part in zip(rest, axis, strict=True)):
        frames.diagnostics.add("scale-from-nothing", resolving.span, name=name)
        return None
    if resolving.mirror is not NO_MIRROR and max(map(abs, axis)) < 1.0 - 1e-6:
        frames.diagnostics.add("scale-mirrored-askew", resolving.span, name=name)
    return {"axis": axis}


def _gap(resolving: Resolving) -> dict[str, Any]:
    frames = resolving.frames.bound.skeleton.frames
    other = resolving.on_side(resolving.parts["other"])
    return {"rest": rounded_number(length(subtract(frames[resolving.joint].origin, frames[other].origin)))}


Computed = Callable[[Resolving], dict[str, Any] | None]
COMPUTED: Final[Mapping[str, Computed]] = {
    "swing": _swing,
    "euler": _euler,
    "offset": _offset,
    "scale": _scale,
    "gap": _gap,
}
"""For kinds of readings: the fields of their record that cannot be derived from a part; None after a diagnostic."""


def check_computed(kinds: Mapping[str, ReadingKind[Any]], computed: Mapping[str, Computed]) -> None:
    """Each kind whose record has a field that is no part computes fields. Raises IncompleteKindError."""
    for kind in kinds.values():
        underived = [name for name in kind.fields if name not in kind.parts]
        if underived and kind.name not in computed:
            raise IncompleteKindError(f"nothing computes {', '.join(underived)} of `{kind.name}`")
    if unknown := sorted(computed.keys() - kinds.keys()):
        raise IncompleteKindError(f"fields of {', '.join(unknown)} are computed, which is no kind")


check_computed(READING_KINDS, COMPUTED)


def long_axis(index: int, frames: Frames) -> Vector | None:
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
