"""Poses in a row: parts of it, and places between its frames."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import repeat

import numpy as np

from plica.evaluate.poses import Array, JointPlacement, Poses, SparsePose
from plica.rig.rig import Rig


def sparse_poses(rig: Rig, poses: Poses) -> Iterator[SparsePose]:
    """Each frame as a pose that names the joints that are away from rest, and all controls."""
    scaled = poses.scales is not None
    rests = {
        joint.name: JointPlacement(
            joint.neutral.rotation, joint.neutral.translation, joint.neutral.scale if scaled else None
        )
        for joint in rig.skeleton
    }
    for frame in range(poses.frames):
        placed = zip(poses.joints, _placements(poses, frame), strict=True)
        joints = {name: placement for name, placement in placed if placement != rests[name]}
        yield SparsePose(joints, dict(zip(poses.control_names, poses.controls[frame].tolist(), strict=True)))


def _placements(poses: Poses, frame: int) -> Iterator[JointPlacement]:
    scales = repeat(None, len(poses.joints)) if poses.scales is None else map(tuple, poses.scales[frame].tolist())
    rotations, translations = poses.rotations[frame].tolist(), poses.translations[frame].tolist()
    for (a, b, c, d), (x, y, z), scale in zip(rotations, translations, scales, strict=True):
        yield JointPlacement((a, b, c, d), (x, y, z), scale)


def finer(places: Array, worst: int, count: int = 8) -> Array:
    """Places between the neighbours of one frame, for a closer look there; those that were looked at left out."""
    low, high = places[max(worst - 1, 0)], places[min(worst + 1, len(places) - 1)]
    return np.setdiff1d(np.linspace(low, high, count + 1), places)
