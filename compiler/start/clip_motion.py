"""What a model's own clips tell of a joint: the axis that it turns about, and how far it goes.

With q the turn of a joint since the neutral stance, r its rotation vector in the joint's own axes (the axis times the
angle), the axis is the direction that the r of all frames lie along best: the eigenvector of the largest eigenvalue of
the mean of r r^T. Large angles so weigh more than small ones. One axis explains the motion where that eigenvalue is
most of the sum of the three, and where what changes from frame to frame lies along it too: a stance that the clips
never come back to would else look like a hinge.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import radians
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

from plica.evaluate.seen_turns import SeenTurns
from plica.kinds.readings import SeenFrom
from plica.readers.clip import Clip
from plica.readers.clip_reader import read_clips
from plica.readers.model_outline import UnreadableModel
from plica.rig.mirror import FrameMirror
from plica.skeleton.algebra import Vector
from plica.skeleton.quaternions import Array, normalised, turn_since, with_positive_scalar
from plica.skeleton.skeleton import Skeleton

RATE: Final = 30.0
"""Frames a second that clips are looked at."""
EXPLAINED: Final = 0.9
"""Share of the motion about one axis from which on a joint is taken for a hinge."""
CHANGES: Final = 0.75
"""The same of what changes from frame to frame, which small motions about other axes take more part in."""
LEAST_MOTION: Final = radians(10.0)
"""Of a joint that moves less from the first to the last percentile, clips tell nothing."""
TOGETHER: Final = radians(15.0)
"""How far the axis of one joint may be from the one of all that are to share it."""
TURNS_OVER: Final = radians(150.0)
"""A joint that turns farther both ways comes near the half turn, where an angle about an axis changes its sign."""
ENDS: Final = (1.0, 99.0)
"""Percentiles of the frames that a span goes to: a single frame decides nothing."""


class ClipMotion(NamedTuple):
    """The turns since the stance, (4, frames), of joints as they are read; how many clips they are from."""

    turns: Mapping[SeenFrom, Array]
    clips: int
    fault: str = ""


class TurnEvidence(NamedTuple):
    """What clips tell of one joint, or of several that move alike.

    `axis`: unit axis that the turns lie along best, positive where they go farthest; `share` and `changes`: how much of
    the motion, and of its changes, is about it; `ends`: percentiles (`ENDS`) of the angle about it, radians, of the
    joint that goes farthest; `angle`: the last of them of the whole angle; `moves`: whether the clips move it at all.
    """

    axis: Vector
    share: float
    changes: float
    ends: tuple[float, float]
    angle: float
    moves: bool
    apart: float

    @property
    def is_hinge(self) -> bool:
        """Whether one axis explains most of the motion."""
        if -self.ends[0] > TURNS_OVER and self.ends[1] > TURNS_OVER:
            return False
        return self.moves and self.has_axis and self.apart <= TOGETHER

    @property
    def has_axis(self) -> bool:
        """Whether one axis explains most of the motion of all together, were it theirs one by one too."""
        return self.share >= EXPLAINED and self.changes >= CHANGES


def motion_of(path: Path, skeleton: Skeleton, wanted: Sequence[SeenFrom]) -> ClipMotion:
    """The turns of joints over all clips of a model, since the pose of `skeleton`, its joints by name.

    A clip that lacks joints of the model is left out. Clips that cannot be read are a `fault`, in words.
    """
    if not wanted:
        return ClipMotion({}, 0)
    try:
        clips = read_clips(path, RATE)
    except UnreadableModel as error:
        return ClipMotion({}, 0, str(error))
    names = [joint.name for joint in skeleton.joints]
    usable = [clip for clip in clips if len(clip.times) > 1 and all(name in clip.rest.index for name in names)]
    if not usable:
        return ClipMotion({}, 0)
    local = {name: position for position, name in enumerate(names)}
    rest = np.array([joint.rotation for joint in skeleton.joints]).T[:, :, np.newaxis]
    rotations = np.concatenate([_rotations(clip, names) for clip in usable], axis=2)
    related = [one for one in wanted if one.relative_to is not None]
    seen = SeenTurns(skeleton, related, local, rest).of(rotations)
    turns: dict[SeenFrom, Array] = {one: seen[:, row] for row, one in enumerate(related)}
    for one in wanted:
        if one.relative_to is None:
            row = local[one.joint]
            turns[one] = turn_since(rest[:, row], rotations[:, row])
    return ClipMotion({one: with_positive_scalar(normalised(turns[one])) for one in wanted}, len(usable))


def _rotations(clip: Clip, names: Sequence[str]) -> Array:
    """Local rotations by component, (4, joints, frames), in the order of the names."""
    order = [clip.rest.index[name] for name in names]
    return np.moveaxis(clip.rotations[:, order], (0, 1, 2), (2, 1, 0))


def mirrored_turns(turns: Array, mirror: FrameMirror) -> Array:
    """The turns of a right joint as its left partner sees them (`plica.rig.mirror`)."""
    return np.concatenate((mirror.sign * (np.array(mirror.matrix) @ turns[:3]), turns[3:]))


def evidence_of(turns: Sequence[Array]) -> TurnEvidence | None:
    """What joints that are to have one axis tell together; each counts the same number of frames. None without any."""
    if not turns or not turns[0].shape[1]:
        return None
    vectors = [_rotation_vectors(one) for one in turns]
    moment = sum((each @ each.T / each.shape[1] for each in vectors), np.zeros((3, 3)))
    spread = sum((np.cov(each, bias=True) for each in vectors), np.zeros((3, 3)))
    values, columns = np.linalg.eigh(moment)
    axis = columns[:, -1]
    ends = np.array([np.percentile(2.0 * np.arctan2(axis @ one[:3], one[3]), ENDS) for one in turns])
    low, high = float(ends[:, 0].min()), float(ends[:, 1].max())
    whole = np.array([np.percentile(np.linalg.norm(each, axis=0), ENDS) for each in vectors])
    if -low > high or (-low == high and axis[int(np.argmax(np.abs(axis)))] < 0.0):
        axis, low, high = -axis, -high, -low
    varying = np.linalg.eigh(spread)[1][:, -1]
    extents = [np.ptp(np.percentile(varying @ each, ENDS)) for each in vectors]
    moves = float(max(*extents, np.ptp(ends, axis=1).max())) >= LEAST_MOTION
    share = float(values[-1] / values.sum()) if values.sum() > 0.0 else 0.0
    changes = float(axis @ spread @ axis / np.trace(spread)) if np.trace(spread) > 0.0 else 0.0
    x, y, z = (float(value) for value in axis)
    apart = max(_apart(each, axis) for each in vectors)
    return TurnEvidence((x, y, z), share, changes, (low, high), float(whole[:, 1].max()), moves, apart)


def _apart(vectors: Array, axis: Array) -> float:
    """The angle (radians) between an axis and the one that a joint's own turns lie along; 0 where they have none."""
    values, columns = np.linalg.eigh(vectors @ vectors.T / vectors.shape[1])
    if np.percentile(np.linalg.norm(vectors, axis=0), ENDS[1]) < LEAST_MOTION or values[-1] < EXPLAINED * values.sum():
        return 0.0
    return float(np.arccos(min(1.0, abs(float(columns[:, -1] @ axis)))))


def _rotation_vectors(turns: Array) -> Array:
    """Axis times angle, (3, frames), of unit quaternions (4, frames) with w >= 0."""
    size = np.linalg.norm(turns[:3], axis=0)
    angle = 2.0 * np.arctan2(size, turns[3])
    return np.asarray(turns[:3] * np.divide(angle, size, out=np.full_like(size, 2.0), where=size > 1e-12))
