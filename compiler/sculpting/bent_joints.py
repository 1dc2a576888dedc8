"""The joints that a pose bends."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from plica.evaluate.poses import Poses, rest_poses
from plica.rig.rig import Rig

STILL: Final = 1e-9


class BentJoint(NamedTuple):
    """A joint that a pose turns or moves, and by how much it turns (radians)."""

    name: str
    angle: float


def bent_joints(rig: Rig, pose: Poses) -> tuple[BentJoint, ...]:
    """The joints that are not as in the neutral stance in a pose of one frame, in the skeleton's order."""
    rest = rest_poses(rig)
    along = np.clip(np.abs((rest.rotations[0] * pose.rotations[0]).sum(axis=1)), 0.0, 1.0)
    angles = 2.0 * np.arccos(along)
    moved = np.abs(rest.translations[0] - pose.translations[0]).max(axis=1) > STILL
    turned = np.abs(rest.rotations[0] - pose.rotations[0]).max(axis=1) > STILL
    return tuple(
        BentJoint(rig.skeleton[number].name, float(angles[number]))
        for number in np.flatnonzero(moved | turned).tolist()
    )
