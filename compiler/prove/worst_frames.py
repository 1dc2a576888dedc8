"""A pose told in words: its track, and how far its joints are turned."""

from __future__ import annotations

from typing import Final

import numpy as np

from plica.evaluate.poses import Array
from plica.prove.pose_rows import sparse_poses
from plica.prove.results import WorstFrame
from plica.prove.sweeps import PoseTrack
from plica.rig.rig import Rig

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
    return WorstFrame(track.name, track.kind, number, float(track.places[number]), tuple(turned[:MOST]), pose)


def angles_since_rest(rig: Rig, joints: tuple[str, ...], rotations: Array) -> Array:
    """The whole angle (joints,), radians, between rotations (joints, 4) and those at rest: 2 acos |p . q|."""
    rests = {joint.name: joint.rotation for joint in rig.skeleton}
    rest = np.array([rests[name] for name in joints], dtype=np.float64).reshape(-1, 4)
    sizes = np.linalg.norm(rotations, axis=1) * np.linalg.norm(rest, axis=1)
    share = np.abs((rotations * rest).sum(axis=1)) / np.where(sizes > 0, sizes, 1.0)
    return np.asarray(np.where(sizes > 0, 2.0 * np.arccos(np.clip(share, 0.0, 1.0)), 0.0))
