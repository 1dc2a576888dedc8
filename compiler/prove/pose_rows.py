"""Poses in a row: parts of it, and places between its frames."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from plica.evaluate.poses import Array, JointPlacement, Poses, SparsePose
from plica.rig.rig import Rig


def frames_of(poses: Poses, start: int, stop: int) -> Poses:
    """Some frames of poses, as poses."""
    part = slice(start, stop)
    return Poses(
        poses.joints, poses.rotations[part], poses.translations[part], poses.control_names, poses.controls[part]
    )


def sparse_poses(rig: Rig, poses: Poses) -> Iterator[SparsePose]:
    """Each frame as a pose that names the joints that are away from rest, and all controls."""
    rests = {joint.name: (joint.rotation, joint.translation) for joint in rig.skeleton}
    for rotations, translations, controls in zip(poses.rotations, poses.translations, poses.controls, strict=True):
        joints = {
            name: JointPlacement((a, b, c, d), (x, y, z))
            for name, (a, b, c, d), (x, y, z) in zip(
                poses.joints, rotations.tolist(), translations.tolist(), strict=True
            )
            if ((a, b, c, d), (x, y, z)) != rests[name]
        }
        yield SparsePose(joints, dict(zip(poses.control_names, controls.tolist(), strict=True)))


def finer(places: Array, worst: int, count: int = 8) -> Array:
    """Places between the neighbours of one frame, for a closer look there; those that were looked at left out."""
    low, high = places[max(worst - 1, 0)], places[min(worst + 1, len(places) - 1)]
    return np.setdiff1d(np.linspace(low, high, count + 1), places)
