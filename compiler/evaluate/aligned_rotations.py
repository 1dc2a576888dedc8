"""The rotations of a character's joints from a clip of another body, their stances aligned bone by bone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

import numpy as np

from plica.evaluate.alignment import alignments, trunk_alignment
from plica.evaluate.clip_matching import Matches
from plica.readers.clip import Clip
from plica.skeleton.algebra import Quaternion, matrix_of
from plica.skeleton.quaternions import Array, matrices_of, quaternions_of
from plica.skeleton.skeleton import Skeleton

SAME_FRAME: Final = 1e-6
"""How far the elements of two rest orientations may differ to be taken for the same."""


class Aligned(NamedTuple):
    """By the joints' places in the skeleton: local rotations (frames, 4) of those that are matched, and the rotation in
    model space (3, 3) that aligns each. Both are empty where there is nothing to align."""

    rotations: dict[int, Array]
    turns: dict[int, Array]


def aligned_rotations(skeleton: Skeleton, clip: Clip, matches: Matches) -> Aligned:
    """What a clip does to a body; nothing where both are no bodies, or are the same already."""
    if not matches.own.limbs:
        return Aligned({}, {})
    trunk = trunk_alignment(skeleton, matches.own, clip.rest, matches.theirs)
    turns = alignments(skeleton, matches.own, clip.rest, matches.theirs)
    if _same_build(skeleton, clip, matches.joints) and all(
        np.abs(turn - np.eye(3)).max() < SAME_FRAME for turn in (trunk, *turns.values())
    ):
        return Aligned({}, {})
    since_rest = _turns_in_model(clip)
    rest = [np.array(orientation) for orientation in skeleton.orientations]
    frames = len(clip.times)
    placed: list[Array] = []
    follows: list[Array] = []
    result: dict[int, Array] = {}
    for position, joint in enumerate(skeleton.joints):
        above = None if joint.parent is None else joint.parent
        follows.append(turns.get(position, trunk if above is None else follows[above]))
        before = np.broadcast_to(np.eye(3), (frames, 3, 3)) if above is None else placed[above]
        # The joint's own rotation and the signs of its scales, in its parent at rest.
        local = rest[position] if above is None else rest[above].T @ rest[position]
        other = matches.joints.get(joint.name)
        if other is None:
            placed.append(before @ local)
            continue
        placed.append(since_rest[other] @ (follows[position] @ rest[position]))
        signs = _matrix(joint.rotation).T @ local
        result[position] = quaternions_of(np.swapaxes(before, 1, 2) @ placed[position] @ signs.T)
    return Aligned(result, dict(enumerate(follows)))


def _matrix(rotation: Quaternion) -> Array:
    """The matrix of a unit quaternion as an array."""
    return np.array(matrix_of(rotation))


def _same_build(skeleton: Skeleton, clip: Clip, joints: Mapping[str, int]) -> bool:
    """Whether matched joints hang on matched joints as those of the clip do, so that local rotations can be carried."""
    names = [joint.name for joint in skeleton.joints]
    for own, other in joints.items():
        mine, theirs = skeleton.joints[skeleton.index[own]].parent, clip.rest.joints[other].parent
        known = None if mine is None else joints.get(names[mine])
        if known is not None and known != theirs:
            return False
        if known is None and theirs in joints.values():
            return False
    return True


def _turns_in_model(clip: Clip) -> list[Array]:
    """For each joint of a clip its rotation in model space since rest, (frames, 3, 3)."""
    placed: list[Array] = []
    result: list[Array] = []
    for position, joint in enumerate(clip.rest.joints):
        rest = np.array(clip.rest.orientation(position))
        parent_rest = np.eye(3) if joint.parent is None else np.array(clip.rest.orientation(joint.parent))
        signs = _matrix(joint.rotation).T @ parent_rest.T @ rest
        local = matrices_of(clip.rotations[:, position]) @ signs
        placed.append(local if joint.parent is None else placed[joint.parent] @ local)
        result.append(placed[position] @ rest.T)
    return result


def in_limbs(skeleton: Skeleton, matches: Matches) -> frozenset[int]:
    """The joints at and below the beginning of each aligned limb."""
    return frozenset(joint for limb in matches.own.limbs.values() for joint in skeleton.below(limb.upper))
