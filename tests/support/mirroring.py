"""Poses mirrored through model space by forward kinematics: shares no formula with the compiler.

Every joint's motion since rest D = G_posed G_rest^-1 (4 x 4, model space) becomes M D M for its partner,
with M the reflection across the rig's plane; the partners' local transforms are then solved from the root
down.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation as Turn

from plica.evaluate import Poses, rest_poses
from plica.evaluate.poses import Array, rest_scales
from plica.rig.rig import Rig, RigJoint
from plica.values import Side


def mirrored_poses(rig: Rig, poses: Poses) -> Poses:
    """The mirrored poses. `poses` names every joint and control of the rig, in its order, as `rest_poses`
    does.

    Joints of no side mirror onto themselves, sided ones onto their partners; a sided joint without one, and
    a sided control without an opposite of the same declaration, stay at rest. Scales must have a mirror image: the same
    along all axes, or along axes that mirror onto each other. Raises ValueError without a symmetry.
    """
    if rig.symmetry is None:
        raise ValueError("the rig has no symmetry")
    rest = rest_poses(rig, poses.frames)
    if poses.joints != rest.joints or poses.control_names != rest.control_names:
        raise ValueError("the poses must name all joints and controls of the rig in its order")
    posed, neutral = model_matrices(rig, poses), model_matrices(rig, rest)
    reflection = np.eye(4)
    axis = "xyz".index(rig.symmetry.axis)
    reflection[axis, axis], reflection[axis, 3] = -1.0, 2.0 * rig.symmetry.offset
    moved = reflection @ posed @ np.linalg.inv(neutral) @ reflection
    index = {joint.name: row for row, joint in enumerate(rig.skeleton)}
    wanted = neutral.copy()
    for row, joint in enumerate(rig.skeleton):
        partner = row if joint.side == "none" else index.get(joint.partner or "", -1)
        if partner >= 0:
            wanted[:, partner] = moved[:, row] @ neutral[:, partner]
    return _solved(rig, wanted, rest, _mirrored_controls(rig, poses, rest), poses.scales is not None)


def model_matrices(rig: Rig, poses: Poses) -> Array:
    """Every joint's matrix in model space, (frames, joints, 4, 4)."""
    index = {joint.name: row for row, joint in enumerate(rig.skeleton)}
    result = np.zeros((poses.frames, len(rig.skeleton), 4, 4))
    for row, joint in enumerate(rig.skeleton):
        local = np.zeros((poses.frames, 4, 4))
        local[:, :3, :3] = Turn.from_quat(poses.rotations[:, row]).as_matrix() * _scales(joint, poses, row)
        local[:, :3, 3] = poses.translations[:, row]
        local[:, 3, 3] = 1.0
        result[:, row] = local if joint.parent is None else result[:, index[joint.parent]] @ local
    return result


def _scales(joint: RigJoint, poses: Poses, row: int) -> Array:
    return np.array(joint.neutral.scale) if poses.scales is None else poses.scales[:, np.newaxis, row]


def _solved(rig: Rig, wanted: Array, rest: Poses, controls: Array, scaled: bool) -> Poses:
    index = {joint.name: row for row, joint in enumerate(rig.skeleton)}
    rotations, translations = rest.rotations.copy(), rest.translations.copy()
    scales = rest_scales(rig, len(wanted))
    for row, joint in enumerate(rig.skeleton):
        above = np.eye(4) if joint.parent is None else wanted[:, index[joint.parent]]
        local = np.linalg.inv(above) @ wanted[:, row]
        since_rest = local[:, :3, :3] / np.array(joint.neutral.scale)
        rotations[:, row] = Turn.from_matrix(_nearest_turns(since_rest)).as_quat()
        translations[:, row] = local[:, :3, 3]
        scales[:, row] *= np.linalg.norm(since_rest, axis=1)
    return Poses(rest.joints, rotations, translations, rest.control_names, controls, scales if scaled else None)


def _nearest_turns(matrices: Array) -> Array:
    """The rotations nearest to matrices (n, 3, 3) that are not quite at right angles; libraries take various ways."""
    first, _, second = np.linalg.svd(matrices)
    return np.asarray(first @ second)


def _mirrored_controls(rig: Rig, poses: Poses, rest: Poses) -> Array:
    opposite: dict[Side, Side] = {"left": "right", "right": "left", "none": "none"}
    columns = {(control.declared, control.side): column for column, control in enumerate(rig.controls)}
    values = rest.controls.copy()
    for column, control in enumerate(rig.controls):
        partner = columns.get((control.declared, opposite[control.side]))
        if partner is not None:
            values[:, partner] = poses.controls[:, column]
    return values
