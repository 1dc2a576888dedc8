"""The joints that a pose bends, and the parts of the skin between them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from plica.evaluate.poses import Poses, rest_poses
from plica.mesh.arrays import Integers, Mesh
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


def parts_between(mesh: Mesh, rig: Rig, bent: Sequence[BentJoint]) -> Integers:
    """The number (v,) of the part that holds each vertex most: a part reaches from a bent joint to the next ones below
    it, and 0 is what is above all of them."""
    numbers = {joint.name: number for number, joint in enumerate(bent, start=1)}
    part: dict[str, int] = {}
    for joint in rig.skeleton:  # parents come before children
        above = 0 if joint.parent is None else part[joint.parent]
        part[joint.name] = numbers.get(joint.name, above)
    of_bind = np.array([part[rig.skeleton[number].name] for number in mesh.bind_joints.tolist()])
    weights = np.zeros((mesh.vertex_count, len(bent) + 1))
    for column in range(mesh.joints.shape[1]):
        np.add.at(weights, (np.arange(mesh.vertex_count), of_bind[mesh.joints[:, column]]), mesh.weights[:, column])
    most: Integers = np.argmax(weights, axis=1)
    return most
