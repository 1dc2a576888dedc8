"""The joints between two others, and what one of them sees of the other at rest.

Only the joints up to right below the nearest common ancestor decide how two joints stand to each other: the ancestor
turns and moves both alike. With q the rotations along a chain, from the ancestor down, and s the signs of the scales
above each of them in the chain, the chain's rotation is the product of s q s, taken from the top down; a reflection s
turns a quaternion (v, w) into (det(s) s v, w). The joint as the other sees it has turned by P = conj(other's) joint's.
"""

from __future__ import annotations

from math import copysign

from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import (
    IDENTITY_QUATERNION,
    Matrix,
    Quaternion,
    Vector,
    length,
    matrix_of,
    multiply,
    product,
    transpose,
)
from plica.skeleton.skeleton import Skeleton


class Chains(NamedTuple):
    """Two joints with all above them that is not above both, as indexes from the joint up.

    `ancestor`: their nearest common ancestor, which may be one of them; None where there is none.
    """

    first: tuple[int, ...]
    second: tuple[int, ...]
    ancestor: int | None


def chains_between(skeleton: Skeleton, joint: str, other: str) -> Chains:
    """The chains of two joints. Raises KeyError for unknown joints."""
    first, second = ([index, *skeleton.ancestors(index)] for index in (skeleton.index[joint], skeleton.index[other]))
    above = set(second)
    ancestor = next((index for index in first if index in above), None)
    if ancestor is None:
        return Chains(tuple(first), tuple(second), None)
    return Chains(tuple(first[: first.index(ancestor)]), tuple(second[: second.index(ancestor)]), ancestor)


def joints_between(skeleton: Skeleton, joint: str, other: str) -> frozenset[str]:
    """The joints whose pose decides how two joints stand to each other: both, and up to their common ancestor."""
    first, second, _ = chains_between(skeleton, joint, other)
    return frozenset(skeleton.joints[index].name for index in (*first, *second))


def scale_of(skeleton: Skeleton, ancestor: int | None) -> Vector:
    """The lengths of a joint's axes in model space at rest; 1 where there is none."""
    if ancestor is None:
        return (1.0, 1.0, 1.0)
    a, b, c = transpose(skeleton.frames[ancestor].linear)
    return (length(a), length(b), length(c))


def flips_of(skeleton: Skeleton, chain: tuple[int, ...]) -> tuple[Vector, ...]:
    """For each joint of a chain, from the joint up, what the vector part of its rotation is multiplied with."""
    result: list[Vector] = []
    x = y = z = 1.0
    for index in reversed(chain):
        sign = x * y * z
        result.append((sign * x, sign * y, sign * z))
        a, b, c = skeleton.joints[index].scale
        x, y, z = copysign(1.0, a) * x, copysign(1.0, b) * y, copysign(1.0, c) * z
    return tuple(reversed(result))


def own_flip(skeleton: Skeleton, joint: str, chains: Chains) -> Vector:
    """What takes the vector part of a turn that the second joint of two sees into the first one's own frame.

    That is the frame in which the joint's rotation acts, before its own scale.
    """
    if chains.first:
        return flips_of(skeleton, chains.first)[0]
    a, b, c = (copysign(1.0, part) for part in skeleton.joints[skeleton.index[joint]].scale)
    return (b * c, a * c, a * b)


def rotation_of(skeleton: Skeleton, chain: tuple[int, ...]) -> Quaternion:
    """The rotation of a chain at rest."""
    result = IDENTITY_QUATERNION
    for index, flip in zip(reversed(chain), reversed(flips_of(skeleton, chain)), strict=True):
        x, y, z, w = skeleton.joints[index].rotation
        result = multiply(result, (x * flip[0], y * flip[1], z * flip[2], w))
    return result


def frame_seen_from(skeleton: Skeleton, chains: Chains) -> Matrix:
    """The axes, as columns in model space at rest, in which the second joint of two sees the first one move."""
    above = skeleton.axes_around((chains.first or chains.second)[-1])
    return product(above, matrix_of(rotation_of(skeleton, chains.second)))
