"""The poses that a rig names, worked out and in words: its declared poses, and the sample poses of its fields."""

from __future__ import annotations

from collections.abc import Iterator
from math import atan2, sqrt
from typing import Literal, NamedTuple

from plica.evaluate.inverse_readings import ReadingInverter
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.poses import SparsePose
from plica.kinds.readings import seen
from plica.mesh.pose_solver import PoseSolver
from plica.rig.entry_text import posed_text
from plica.rig.rig import Rig
from plica.rig.strengths import Field
from plica.rig.surfaces import JointPose
from plica.skeleton.algebra import Quaternion


class NamedPose(NamedTuple):
    """A declared pose, or the sample pose of a strength, and what it is in words.

    `pose` is None where what the words say cannot be reached.
    """

    kind: Literal["pose", "sample"]
    name: str
    words: str
    pose: SparsePose | None


def named_poses(rig: Rig) -> list[NamedPose]:
    """The declared poses of a rig, then the samples of its fields, in the rig's order."""
    return [*_declared(rig), *_samples(rig)]


def _declared(rig: Rig) -> Iterator[NamedPose]:
    solver = PoseSolver(rig) if rig.poses else None
    for pose in rig.poses:
        assert solver is not None
        posed = solver.pose(pose.items)
        words = ", ".join(map(posed_text, pose.items)) or "rest"
        yield NamedPose("pose", pose.name, words, None if posed.problems else posed.pose)


def _samples(rig: Rig) -> Iterator[NamedPose]:
    placer = ReadingInverter(rig, skeleton_of(rig))
    strengths = {(one.field, one.sample): one.name for one in rig.strengths if one.kind == "sample"}
    for field in rig.fields:
        for sample in field.samples[1:]:
            posed = placer.turned_as_seen(seen(field), sample.rotation)
            yield NamedPose("sample", strengths[field.name, sample.name], _words(field, sample.rotation), posed)


def _words(field: Field, turn: Quaternion) -> str:
    x, y, z, w = turn if turn[3] >= 0.0 else (-turn[0], -turn[1], -turn[2], -turn[3])
    size = sqrt(x * x + y * y + z * z)
    axis = (x / size, y / size, z / size) if size > 0.0 else (1.0, 0.0, 0.0)
    words = posed_text(JointPose(field.joint, axis, 2.0 * atan2(size, w)))
    return words if field.relative_to is None else f"{words}, as {field.relative_to} sees it"
