"""What regions are made of, for one side: joints, files, other regions, and deformation with its pose and shapes."""

from __future__ import annotations

from collections.abc import Callable
from typing import assert_never

from plica.named_tuples import NamedTuple
from plica.rig.expand_readings import Frames, long_axis, on_side
from plica.rig.pose_reach import PoseReach
from plica.rig.surfaces import (
    AreaDirection,
    DeformedSkin,
    JointPose,
    Painted,
    RegionSet,
    RegionSource,
    Shape,
    SkinOf,
    Stored,
    StrengthPose,
)
from plica.rounding import rounded
from plica.skeleton.algebra import times
from plica.source import Span
from plica.spec import entries as spec
from plica.spec.budget import Budget
from plica.spec.entries import OneSide

Posed = tuple[StrengthPose | JointPose, ...]
Pose = Callable[[tuple[spec.StrengthPoseOf | spec.JointPoseOf | spec.NamedPoseOf, ...], OneSide, bool], Posed]
"""A pose for one side, mirrored or not."""


class RegionExpansion(NamedTuple):
    """What regions' sources refer to: joints, poses, and the shapes with the strengths that they follow."""

    frames: Frames
    budget: Budget
    pose: Pose
    reach: PoseReach
    shapes: tuple[Shape, ...]

    def source(self, entry: spec.Entry[spec.RegionFacts], side: OneSide) -> RegionSource | None:
        """The source of a region's side; None after a diagnostic."""
        source, naming = entry.facts(side).source, self.frames.naming
        match source:
            case spec.PaintedImage():
                return Painted(source.file, source.uv)
            case spec.StoredVertices():
                return Stored(source.file)
            case spec.SetOfRegions():
                return RegionSet(source.how, tuple(naming.target(item, side) for item in source.regions))
            case spec.SkinOfJoints():
                return self._skin_of(source, side, entry.declared.span)
            case spec.SkinDeformedBy():
                return self._deformed(source, entry, side)
            case _:
                assert_never(source)

    def _skin_of(self, source: spec.SkinOfJoints, side: OneSide, span: Span) -> SkinOf:
        indexes = [on_side(joint, side) for joint in source.joints]
        if source.below:
            indexes = sorted({below for index in set(indexes) for below in self._below(index, span)})
        return SkinOf(tuple(dict.fromkeys(self.frames.joint_name(index) for index in indexes)))

    def _below(self, index: int, span: Span) -> list[int]:
        below = self.frames.bound.skeleton.below(index)
        return below if self.budget.spend(len(below), span) else []

    # ---- deformation

    def _deformed(
        self, source: spec.SkinDeformedBy, entry: spec.Entry[spec.RegionFacts], side: OneSide
    ) -> DeformedSkin | None:
        direction = None
        if source.direction is not None:
            direction = self._direction(source.direction, entry, side)
            if direction is None:
                return None
        by: list[str] = []
        pose: list[StrengthPose | JointPose] = []
        after: list[str] = []
        for one in self._sides(entry, side):
            own = entry.facts(one).source
            assert isinstance(own, spec.SkinDeformedBy)
            by += [self.frames.naming.target(shape, one) for shape in own.by]
            pose += self.pose(own.pose, one, entry.mirrored(one, "source"))
            after += [self.frames.naming.target(shape, one) for shape in own.after or ()]
        items = tuple(dict.fromkeys(pose))
        if source.after is None and items:
            on = self.reach.strengths(items)
            after = [shape.name for shape in self.shapes if shape.follows in on]
        self._tell_unsculpted(by, entry)
        return DeformedSkin(
            source.how,
            tuple(dict.fromkeys(by)),
            items,
            tuple(dict.fromkeys(after)),
            source.span,
            source.measure,
            source.peak,
            source.smoothing,
            source.island,
            direction,
        )

    def _sides(self, entry: spec.Entry[spec.RegionFacts], side: OneSide) -> tuple[OneSide, ...]:
        """The sides whose shapes or poses are on together: both where one source serves both, as each would end at the
        middle if the other stood still."""
        together = entry.declared.side == "both" and "source" not in entry.overridden
        return ("left", "right") if together else (side,)

    def _tell_unsculpted(self, by: list[str], entry: spec.Entry[spec.RegionFacts]) -> None:
        bare = [shape for shape in self.shapes if shape.name in by and shape.source is None]
        if bare:
            values = {"region": entry.declared.name, "shape": bare[0].declared}
            self.frames.diagnostics.add_filled("found-by-unsculpted", entry.declared.span, values)

    def _direction(
        self, direction: spec.DirectionOf, entry: spec.Entry[spec.RegionFacts], side: OneSide
    ) -> AreaDirection | None:
        """In model space, mirrored where it was written for the left side."""
        mirrored, joint = entry.mirrored(side, "direction"), direction.joint
        index = on_side(joint, side)
        if direction.axis is None:
            own = long_axis(index, self.frames)
            if own is None:
                name = self.frames.joint_name(index)
                self.frames.diagnostics.add("bone-without-end", entry.declared.span, name=name)
                return None
        else:
            written = joint.left if mirrored else index
            own = self.frames.mirror(joint, mirrored).direction(self.frames.direction(direction.axis, written))
        return AreaDirection(direction.way, rounded(times(self.frames.bound.skeleton.orientation(index), own)))
