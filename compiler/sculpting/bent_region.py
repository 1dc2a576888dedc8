"""The skin that a pose bends: where a draft is free when the spec names no region."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.poses import Poses, rest_poses
from plica.measure.pose_crossing import PoseCrossing
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.rig.rig import Rig

SHARED: Final = 0.005
"""Skin of which a joint, with all below it, carries more than this share and less than the rest is bent by it."""
MIDDLE: Final = 0.25
NEAR: Final = 8.0
"""Skin that passes through other skin is part of the region up to so many radii from the joint (found on open bodies:
farther away other joints are the cause)."""
STILL: Final = 1e-9


class BentJoint(NamedTuple):
    """A joint that a pose turns or moves: its number in the skeleton, its name, and by how much (radians)."""

    number: int
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
        BentJoint(number, rig.skeleton[number].name, float(angles[number]))
        for number in np.flatnonzero(moved | turned).tolist()
    )


def bent_region(rig: Rig, mesh: Mesh, neutral: Floats, posed: Floats, joints: tuple[BentJoint, ...]) -> Floats:
    """Weights (v,), 0 or 1: the skin that these joints share with those above them, and what passes through other skin
    near them.

    neutral, posed (v, 3): where the skin stands in the neutral stance and in the pose.
    """
    result = np.zeros(mesh.vertex_count, dtype=np.bool_)
    near = np.zeros(mesh.vertex_count, dtype=np.bool_)
    frames = skeleton_of(rig).frames
    for joint in joints:
        carried = _carried(rig, mesh, joint.number)
        shared = (carried > SHARED) & (carried < 1.0 - SHARED)
        if not shared.any():
            continue
        result |= shared
        middle = (carried > MIDDLE) & (carried < 1.0 - MIDDLE)
        distances = np.linalg.norm(neutral - np.array(frames[joint.number].origin), axis=1)
        near |= distances < NEAR * float(np.median(distances[middle if middle.any() else shared]))
    if result.any():
        pairs = PoseCrossing.prepared(mesh, neutral, np.ones(mesh.vertex_count)).pairs(posed)
        result |= near & _corners(mesh, pairs)
    return result.astype(np.float64)


def _carried(rig: Rig, mesh: Mesh, joint: int) -> Floats:
    """The share (v,) of each vertex that a joint and all below it carry."""
    numbers = {one.name: number for number, one in enumerate(rig.skeleton)}
    below = np.zeros(len(rig.skeleton), dtype=np.bool_)
    below[joint] = True
    for number, one in enumerate(rig.skeleton):  # parents stand before their children
        below[number] |= one.parent is not None and bool(below[numbers[one.parent]])
    if not mesh.joints.shape[1]:
        return np.zeros(mesh.vertex_count)
    return np.asarray((mesh.weights * below[mesh.bind_joints][mesh.joints]).sum(axis=1))


def _corners(mesh: Mesh, pairs: Integers) -> NDArray[np.bool_]:
    """Which vertices (v,) are corners of these triangles, or other copies of their points."""
    points = np.zeros(mesh.point_count, dtype=np.bool_)
    points[mesh.points[mesh.triangles[np.unique(pairs)]]] = True
    return points[mesh.points]
