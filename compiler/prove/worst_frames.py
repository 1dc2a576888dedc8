"""A pose told in words: its track, and how far its joints are turned."""

from __future__ import annotations

from collections.abc import Iterator
from math import atan2
from typing import Final

import numpy as np

from plica.evaluate.poses import Array, SparsePose
from plica.prove.pose_rows import sparse_poses
from plica.prove.results import JointMove, WorstFrame
from plica.prove.sweeps import PoseTrack
from plica.rig.rig import Rig
from plica.skeleton.algebra import conjugate, length, multiply, scaled, subtract

NO_TURN: Final = 1e-12
"""A turn below this (radians) is rounding."""
TURNED: Final = 0.005
"""Joints turned by less than this (radians) are not worth a word."""
MOST: Final = 8
"""Joints that are told of at most."""


def worst_frame(rig: Rig, track: PoseTrack, number: int) -> WorstFrame:
    """The frame `number` of a track, with the angles of its most turned joints."""
    angles = angles_since_rest(rig, track.poses.joints, track.poses.rotations[number])
    turned = [(name, angle) for name, angle in zip(track.poses.joints, angles.tolist(), strict=True) if angle > TURNED]
    turned.sort(key=lambda item: (-item[1], item[0]))
    pose = next(sparse_poses(rig, track.poses[number]))
    moves = tuple(moves_since_rest(rig, pose))
    return WorstFrame(track.name, track.kind, number, float(track.places[number]), tuple(turned[:MOST]), pose, moves)


def moves_since_rest(rig: Rig, pose: SparsePose) -> Iterator[JointMove]:
    """What each joint of a pose does since rest, in the order of the skeleton; those that stay are left out.

    With r a joint's rotation at rest, r^-1 q is what it turns by in its own rest frame; a unit quaternion is the turn
    by 2 atan2(|v|, w) about v.
    """
    for joint in rig.skeleton:
        placement = pose.joints.get(joint.name)
        if placement is None:
            continue
        rotation = joint.neutral.rotation if placement.rotation is None else placement.rotation
        translation = joint.neutral.translation if placement.translation is None else placement.translation
        x, y, z, w = multiply(conjugate(joint.neutral.rotation), rotation)
        sign = -1.0 if w < 0.0 else 1.0
        size = length((x, y, z))
        angle = 2.0 * atan2(size, abs(w))
        axis = scaled((x, y, z), sign / size) if size > 0.0 else (1.0, 0.0, 0.0)
        offset = subtract(translation, joint.neutral.translation)
        scale = joint.neutral.scale if placement.scale is None else placement.scale
        if angle > NO_TURN or length(offset) > 0.0 or scale != joint.neutral.scale:
            yield JointMove(joint.name, axis, angle, offset, None if scale == joint.neutral.scale else scale)


def angles_since_rest(rig: Rig, joints: tuple[str, ...], rotations: Array) -> Array:
    """The whole angle (joints,), radians, between rotations (joints, 4) and those at rest: 2 acos |p . q|."""
    rests = {joint.name: joint.neutral.rotation for joint in rig.skeleton}
    rest = np.array([rests[name] for name in joints], dtype=np.float64).reshape(-1, 4)
    sizes = np.linalg.norm(rotations, axis=1) * np.linalg.norm(rest, axis=1)
    share = np.abs((rotations * rest).sum(axis=1)) / np.where(sizes > 0, sizes, 1.0)
    return np.asarray(np.where(sizes > 0, 2.0 * np.arccos(np.clip(share, 0.0, 1.0)), 0.0))
