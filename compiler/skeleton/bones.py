"""Where the bones of a skeleton lead, also where the file hangs joints elsewhere than on the limb that they end."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from plica.skeleton.algebra import Vector, length, subtract, unit
from plica.skeleton.frames import extent_of
from plica.skeleton.joint_parts import FINGERS
from plica.skeleton.joint_words import words_of
from plica.skeleton.sides import Sides
from plica.skeleton.skeleton import Skeleton

CHAIN: Final = ("metacarpal", "proximal", "intermediate", "distal", "tip")
ENDS: Final = {"ankle": "knee", "wrist": "elbow"}  # what ends a limb, and the joint that carries it there
AT_TIP: Final = 0.01  # how far from a limb's tip its foot may stand, as a share of the body's size


def direction(start: Vector, end: Vector, least: float = 1e-7) -> Vector | None:
    """The unit vector from one place to another; None where they are closer than `least` metres."""
    way = subtract(end, start)
    return unit(way) if length(way) > least else None


class Bones(NamedTuple):
    """For each joint the one that its bone comes from, the one that its bone leads to, and how many go out from it."""

    before: list[int | None]
    beyond: list[int | None]
    branches: list[int]


def bones_of(skeleton: Skeleton, sides: Sides) -> Bones:
    """The bones as the joints hang below each other. Joints at one place have no bone between them."""
    children = [skeleton.children(index) for index in range(len(skeleton.joints))]
    depth = [0] * len(skeleton.joints)
    for index in range(len(skeleton.joints) - 1, -1, -1):
        depth[index] = 1 + max((depth[child] for child in children[index]), default=0)
    before: list[int | None] = []
    beyond: list[int | None] = []
    branches: list[int] = []
    for index in range(len(skeleton.joints)):
        apart = _apart_below(skeleton, index, children)
        before.append(_apart_above(skeleton, index))
        beyond.append(_main_child(skeleton, sides, index, apart, depth))
        branches.append(len(apart))
    return Bones(before, beyond, branches)


def _apart_above(skeleton: Skeleton, index: int) -> int | None:
    """The nearest joint above that lies elsewhere."""
    origin = skeleton.frames[index].origin
    for above in skeleton.ancestors(index):
        if direction(skeleton.frames[above].origin, origin) is not None:
            return above
    return None


def _apart_below(skeleton: Skeleton, index: int, children: list[list[int]]) -> list[int]:
    """The nearest joints below that lie elsewhere."""
    origin = skeleton.frames[index].origin
    apart = []
    waiting = list(children[index])
    while waiting:
        child = waiting.pop(0)
        if direction(origin, skeleton.frames[child].origin) is None:
            waiting.extend(children[child])
        else:
            apart.append(child)
    return apart


def _main_child(skeleton: Skeleton, sides: Sides, index: int, apart: list[int], depth: list[int]) -> int | None:
    """The joint that the bone leads to: a hand's middle finger, else a child without side, the longest chain."""
    words = {child: words_of(skeleton.joints[child].name) for child in apart}
    fingers = [child for child in apart if set(words[child]) & set(FINGERS)]
    if len(fingers) > 1:
        return next((child for child in fingers if "middle" in words[child]), fingers[len(fingers) // 2])
    if index not in sides.partner and any(child not in sides.partner for child in apart):
        apart = [child for child in apart if child not in sides.partner]
    return max(apart, key=lambda child: (depth[child], -child), default=None)


def link_flat_fingers(bases: Sequence[str], parts: Sequence[str | None], bones: Bones) -> frozenset[int]:
    """Link the joints of fingers by the names of their bones where they do not hang below each other."""
    fingers: dict[tuple[str, ...], dict[str, int]] = {}
    for index, base in enumerate(bases):
        words = words_of(base)
        bone = next((word for word in CHAIN if word in words), None)
        if bone is not None:
            rest = tuple(word for word in words if word != bone and word != "phalanx")
            fingers.setdefault(rest, {})[bone] = index
    flat: set[int] = set()
    for finger in fingers.values():
        chain = [finger[bone] for bone in CHAIN if bone in finger]
        for first, second in pairwise(chain):
            if bones.before[second] != first and bones.beyond[first] is None:
                bones.before[second], bones.beyond[first] = first, second
                flat.add(second)
    return frozenset(index for index in flat if parts[index] is not None)


def link_hung_ends(
    skeleton: Skeleton, parts: Sequence[str | None], side: Sequence[float], moves_skin: Sequence[bool], bones: Bones
) -> dict[int, int]:
    """Link feet, hands and hoofs to the limb that they end, where they hang under a control instead of it.

    What stands at the tip of a limb, while nothing above it moves skin, belongs to that limb. A foot or a hand that
    stands elsewhere is linked only where one joint alone can be meant: the one knee or elbow of the same side, while it
    is the only foot or hand of its side that hangs elsewhere.
    """
    hung = _at_tips(skeleton, moves_skin)
    for end, limb in ENDS.items():
        for one in sorted(set(side)):
            ends = [index for index, part in enumerate(parts) if part == end and side[index] == one]
            limbs = [index for index, part in enumerate(parts) if part == limb and side[index] == one]
            loose = [index for index in ends if not {*limbs, *hung} & {index, *skeleton.ancestors(index)}]
            if len(loose) == len(limbs) == 1 and limbs[0] not in hung.values():
                hung[loose[0]] = limbs[0]
    for end_joint, limb_joint in hung.items():
        bones.before[end_joint], bones.beyond[limb_joint] = limb_joint, end_joint
    return hung


def _at_tips(skeleton: Skeleton, moves_skin: Sequence[bool]) -> dict[int, int]:
    """For joints that move skin below none that does, and stand at a tip elsewhere, the joint that carries the tip."""
    joints = range(len(skeleton.joints))
    tops = [
        index for index in joints if moves_skin[index] and not any(moves_skin[up] for up in skeleton.ancestors(index))
    ]
    near = AT_TIP * extent_of([frame.origin for frame in skeleton.frames])
    result: dict[int, int] = {}
    for top in tops:
        below = set(skeleton.below(top))
        tips = [
            tip
            for tip in joints
            if tip not in below and not skeleton.children(tip) and _distance(skeleton, top, tip) <= near
        ]
        found = (_carrier(skeleton, tip, moves_skin) for tip in tips)
        carriers = {carrier for carrier in found if carrier is not None and carrier not in below}
        if len(carriers) == 1:
            result[top] = carriers.pop()
    return result


def _carrier(skeleton: Skeleton, tip: int, moves_skin: Sequence[bool]) -> int | None:
    """The nearest joint above a tip that moves skin; None where there is none, or where the tip moves skin itself."""
    if moves_skin[tip]:
        return None
    return next((above for above in skeleton.ancestors(tip) if moves_skin[above]), None)


def _distance(skeleton: Skeleton, first: int, second: int) -> float:
    return length(subtract(skeleton.frames[first].origin, skeleton.frames[second].origin))
