"""Long motion of the two arms, to have something to measure that takes a while."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from plica.evaluate.poses import rest_poses
from plica.prove.proof import ProofSubject
from plica.prove.sweeps import PoseTrack
from tests.support.arms import ELBOW, SHAPE, arms

EXPECTED = """
expect both { volume of forearm within 2 % over elbow   girth of forearm within 15 % over elbow }
expect left { stretch of forearm at most 80 % over elbow   clearance of forearm from upperarm at least 1 mm over elbow }
expect left { crossing of forearm none over elbow }
"""
TEXT = ELBOW + SHAPE + EXPECTED


def swinging(frames: int, text: str = TEXT) -> ProofSubject:
    """Both arms over a clip in which elbows and shoulders bend to and fro, 30 frames a second."""
    made = arms(text)
    poses = rest_poses(made.rig, frames)
    times = np.arange(frames) / 30.0
    for name, axis, speed in (("lowerarm", "z", 2.1), ("upperarm", "y", 0.7)):
        for side in ("lf", "rt"):
            column = poses.joints.index(f"{name}_{side}")
            turns = Rotation.from_euler(axis, 1.2 * (1.0 - np.cos(speed * times))[:, None] / 2.0)
            poses.rotations[:, column] = (Rotation.from_quat(poses.rotations[:, column]) * turns).as_quat()
    return ProofSubject(made.rig, made.attached, extra=(PoseTrack("clip swinging", "clip", times, poses),))
