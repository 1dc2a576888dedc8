"""Poses of Wren and what they do to the skin: linear blend skinning after glTF 2.0 section 3.7.3.

Small and for the demo's own use: it poses the mesh for the sculpts and authors the clip.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np

from plica.picture.directions import Floats
from plica.specs.wren.model import DemoModel
from plica.specs.wren.skeleton import WrenSkeleton, other_side
from plica.specs.wren.vectors import MIRROR, rotation_about

AXES: Mapping[str, Floats] = dict(zip("xyz", np.eye(3), strict=True))


@dataclass(frozen=True)
class Move:
    """How one joint departs from rest, in its own rest axes: a rotation (3, 3), then an offset (3,) in
    metres.
    """

    rotation: Floats = field(default_factory=lambda: np.eye(3))
    offset: Floats = field(default_factory=lambda: np.zeros(3))


WrenPose: TypeAlias = Mapping[str, Move]


def turn(*turns: tuple[str, float]) -> Move:
    """A move made of turns about own axes, ("x", degrees), the first applied first."""
    rotation = np.eye(3)
    for axis, degrees in turns:
        rotation = rotation_about(AXES[axis], degrees) @ rotation
    return Move(rotation)


def mirrored_move(name: str, move: Move, skeleton: WrenSkeleton) -> Move:
    """The move of the other side's joint that looks like the reflection of `move` on joint `name`.

    Both are brought to model space through the joints' rest frames and reflected there; the frames of the
    two sides need not be related in any simple way.
    """
    own, other = skeleton[name].frame, skeleton[other_side(name)].frame
    change = other.T @ MIRROR @ own
    return Move(change @ move.rotation @ change.T, change @ move.offset)


def right_pose(pose: WrenPose, skeleton: WrenSkeleton) -> dict[str, Move]:
    """The reflection of a pose given on left joints (or middle ones, which stay themselves)."""
    return {other_side(name): mirrored_move(name, move, skeleton) for name, move in pose.items()}


def local_matrices(skeleton: WrenSkeleton, pose: WrenPose) -> Floats:
    """Transforms relative to the parents, (joints, 4, 4), for a pose; joints it does not name stay at rest."""
    local = skeleton.local_rest.copy()
    for name, move in pose.items():
        matrix = local[skeleton.number[name]]
        matrix[:3, 3] += matrix[:3, :3] @ move.offset
        matrix[:3, :3] = matrix[:3, :3] @ move.rotation
    return local


def skin_matrices(skeleton: WrenSkeleton, pose: WrenPose) -> Floats:
    """What each joint does to points given in the rest pose, (joints, 4, 4)."""
    world = local_matrices(skeleton, pose)
    for index, parent in enumerate(skeleton.parents):
        if parent >= 0:
            world[index] = world[parent] @ world[index]
    return world @ np.linalg.inv(skeleton.rest)


def blended(model: DemoModel, pose: WrenPose) -> Floats:
    """Each vertex's weighted sum of skin matrices, (n, 4, 4)."""
    matrices = skin_matrices(model.skeleton, pose)
    result = np.zeros((len(model.positions), 4, 4))
    for slot in range(model.joints.shape[1]):
        result += model.weights[:, slot, None, None] * matrices[model.joints[:, slot]]
    return result


def skinned(model: DemoModel, pose: WrenPose) -> Floats:
    """Posed positions (n, 3) in model space, in metres."""
    matrices = blended(model, pose)
    posed: Floats = np.einsum("nij,nj->ni", matrices[:, :3, :3], model.positions) + matrices[:, :3, 3]
    return posed
