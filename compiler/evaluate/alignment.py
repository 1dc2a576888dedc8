"""How the stances of two bodies are aligned, bone by bone: what a joint has to be turned by before it follows a clip.

With R the rotations in model space since the stance (rest, or a stated moment of the clip), a joint that follows one of
the clip stands in model space at R C F: F its own axes in its stance and C the alignment, which turns its own bone onto
the clip's as both are in their stances. So bones point where the clip's point, in every frame, and the angles at
knees and elbows are the clip's. About its bone, a limb is turned so that the hinges agree where both stances tell one,
the normal of a bent limb, else as little as possible.
"""

from __future__ import annotations

from itertools import product as all_of
from math import cos, radians
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.skeleton.body import Body
from plica.skeleton.limbs import FOUR_LEGGED, UPRIGHT, Limb, LimbName
from plica.skeleton.skeleton import Skeleton

Array = NDArray[np.float64]

# Trunks that are turned to each other by about a multiple of a right angle differ in which way they face; what is left
# over is their build. Limbs that are bent by less than the second tell no hinge; hinges that are further apart than the
# third are not of the same joint.
_BUILD: Final = cos(radians(30.0))
_BENT: Final = np.sin(radians(4.0))
_HINGES: Final = cos(radians(60.0))
_Pairs = tuple[tuple[LimbName, LimbName], tuple[LimbName, LimbName]]
_UPRIGHT_PAIRS: Final[_Pairs] = (("left leg", "right leg"), ("left arm", "right arm"))
_FOUR_LEGGED_PAIRS: Final[_Pairs] = (("left hind leg", "right hind leg"), ("left foreleg", "right foreleg"))


def alignments(own: Skeleton, own_body: Body, theirs: Skeleton, their_body: Body) -> dict[int, Array]:
    """For joints of the first skeleton a rotation in model space (3, 3): the hips' for the trunk, and the limbs' bones.

    Whatever is not named follows the nearest joint above it that is.
    """
    trunk = trunk_alignment(own, own_body, theirs, their_body)
    result = {}
    for name, limb in own_body.limbs.items():
        if name in their_body.limbs:
            result.update(_limb(own, limb, theirs, their_body.limbs[name], trunk))
    return result


def trunk_alignment(own: Skeleton, own_body: Body, theirs: Skeleton, their_body: Body) -> Array:
    """The turn from one trunk to the other: by whole right angles where that is nearly it."""
    mine, other = _trunk(own, own_body), _trunk(theirs, their_body)
    if mine is None or other is None:
        return np.eye(3)
    turn = other @ mine.T
    nearest = max(_quarter_turns(), key=lambda one: float(np.trace(one.T @ turn)))
    angle_cosine = (float(np.trace(nearest.T @ turn)) - 1.0) / 2.0
    return nearest if angle_cosine >= _BUILD else turn


def _quarter_turns() -> list[Array]:
    """The 24 rotations that take the axes to axes."""
    result = []
    for order in ((0, 1, 2), (0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0)):
        for signs in all_of((1.0, -1.0), repeat=3):
            matrix = np.zeros((3, 3))
            matrix[order, range(3)] = signs
            if np.linalg.det(matrix) > 0.0:
                result.append(matrix)
    return result


def _trunk(skeleton: Skeleton, body: Body) -> Array | None:
    """Columns: left, along the spine to the neck, and at right angles to both; None where it cannot be told.

    From where the limbs begin: of an upright body up and front, of a four-legged one front and down.
    """
    places = _places(skeleton)
    begin = {name: places[limb.upper] for name, limb in body.limbs.items()}
    upright = all(name in begin for name in UPRIGHT) or not all(name in begin for name in FOUR_LEGGED)
    both = _UPRIGHT_PAIRS if upright else _FOUR_LEGGED_PAIRS
    pairs = [(begin[one], begin[other]) for one, other in both if one in begin and other in begin]
    if not pairs:
        return None
    left = sum((a - b for a, b in pairs), np.zeros(3))
    ends = [(a + b) / 2.0 for a, b in pairs]
    if len(pairs) == 2:
        up = ends[1] - ends[0]
    elif "hips" in body.others and both[1][0] in begin:
        up = ends[0] - places[body.others["hips"]]
    else:
        return None
    return _frame(left, up)


def _frame(first: Array, second: Array) -> Array | None:
    """The rotation whose first column is along a vector, the second in the plane of both; None where there is none."""
    front = np.cross(first, second)
    sizes = np.linalg.norm(first), np.linalg.norm(front)
    if min(sizes) < 1e-9:
        return None
    x, z = first / sizes[0], front / sizes[1]
    return np.stack((x, np.cross(z, x), z), axis=1)


def _places(skeleton: Skeleton) -> Array:
    return np.array([frame.origin for frame in skeleton.frames])


def _limb(own: Skeleton, limb: Limb, theirs: Skeleton, other: Limb, trunk: Array) -> dict[int, Array]:
    mine, yours = _bones(own, limb), _bones(theirs, other)
    hinges = np.cross(*mine), np.cross(*yours)
    told = all(float(np.linalg.norm(hinge)) > _BENT for hinge in hinges)
    result, before = {}, trunk
    for joint, bone, wanted in zip((limb.upper, limb.lower), mine, yours, strict=True):
        turn = shortest_turn(before @ bone, wanted) @ before
        if told:
            turn = _with_hinge(turn, hinges[0], hinges[1], wanted)
        result[joint] = before = turn
    return result


def _bones(skeleton: Skeleton, limb: Limb) -> tuple[Array, Array]:
    places = _places(skeleton)
    bones = places[limb.lower] - places[limb.upper], places[limb.end] - places[limb.lower]
    first, second = (bone / max(float(np.linalg.norm(bone)), 1e-30) for bone in bones)
    return first, second


def shortest_turn(start: Array, end: Array) -> Array:
    """The smallest rotation from one unit vector to another (3, 3); the identity where either is null.

    Rodrigues' formula; half a turn about any axis at right angles where they are opposite.
    """
    axis, cosine = np.cross(start, end), float(start @ end)
    if cosine < -1.0 + 1e-12:
        aside = np.cross(start, np.eye(3)[int(np.argmin(np.abs(start)))])
        aside /= np.linalg.norm(aside)
        return np.asarray(2.0 * np.outer(aside, aside) - np.eye(3))
    x, y, z = axis
    skew = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + skew + skew @ skew / (1.0 + cosine))


def _with_hinge(turn: Array, own_hinge: Array, hinge: Array, bone: Array) -> Array:
    """The turn with a turn about the bone after it that brings the hinges together, unless they are far apart."""
    first, second = (_across(one, bone) for one in (turn @ own_hinge, hinge))
    if first is None or second is None or float(first @ second) < _HINGES:
        return turn
    return shortest_turn(first, second) @ turn


def _across(vector: Array, bone: Array) -> Array | None:
    """The unit part of a vector at right angles to a bone; None where nothing of it is."""
    part = vector - bone * float(vector @ bone)
    size = float(np.linalg.norm(part))
    return part / size if size > 1e-9 else None
