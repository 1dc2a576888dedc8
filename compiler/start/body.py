"""Where a character's up, left and front are, and where its bones lead."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from plica.skeleton.algebra import Vector, add, cross, dot, length, scaled, subtract, unit
from plica.skeleton.side_patterns import direction_to_left
from plica.skeleton.sides import Sides
from plica.skeleton.skeleton import Skeleton
from plica.start.anatomy import FINGERS, children_of
from plica.start.name_words import words_of

# glTF 2.0 section 3.4: y is up, the front of a model faces +z.
UP: Vector = (0.0, 1.0, 0.0)
FRONT: Vector = (0.0, 0.0, 1.0)
CHAIN = ("metacarpal", "proximal", "intermediate", "distal", "tip")
ENDS = {"ankle": "knee", "wrist": "elbow"}  # what ends a limb, and the joint that carries it there


class Body(NamedTuple):
    """A skeleton with what anatomy makes of it.

    `before` and `beyond`: for each joint the joint that its bone comes from and the one that its bone leads
    to. `branches`: how many bones go out from each. `side`: 1.0 for joints of the left, -1.0 for the right,
    0.0 where the side is not known. `flat`: joints of fingers whose joints do not hang below each other in
    the model. `hung`: for a foot or a hand that hangs under a control instead of its limb, the limb's joint.
    """

    skeleton: Skeleton
    parts: list[str | None]
    side: list[float]
    before: list[int | None]
    beyond: list[int | None]
    branches: list[int]
    flat: frozenset[int]
    hung: dict[int, int]
    up: Vector
    front: Vector

    def origin(self, index: int) -> Vector:
        """The joint's place at rest."""
        return self.skeleton.frames[index].origin

    def bone(self, index: int) -> Vector | None:
        """The direction from a joint to the next one; None where there is none."""
        beyond = self.beyond[index]
        return None if beyond is None else direction(self.origin(index), self.origin(beyond))

    def bone_before(self, index: int) -> Vector | None:
        """The direction of the bone that ends at a joint; None where there is none."""
        before = self.before[index]
        return None if before is None else direction(self.origin(before), self.origin(index))


def body_of(
    skeleton: Skeleton, sides: Sides, bases: list[str], parts: list[str | None], only_side: float = 0.0
) -> Body:
    """The body of a skeleton whose joints' sides and parts are known.

    `only_side` is the side of all joints without side, for a model that is one hand or one leg.
    """
    before, beyond, branches = _bones(skeleton, sides)
    flat = _link_flat_fingers(bases, parts, before, beyond)
    side = [1.0 if index in sides.left else -1.0 if index in sides.right else only_side for index in range(len(bases))]
    hung = _link_hung_ends(skeleton, parts, side, before, beyond)
    up = _up(skeleton, parts)
    return Body(skeleton, parts, side, before, beyond, branches, flat, hung, up, _front(skeleton, sides, parts, up))


def direction(start: Vector, end: Vector, least: float = 1e-7) -> Vector | None:
    """The unit vector from one place to another; None where they are closer than `least` metres."""
    way = subtract(end, start)
    return unit(way) if length(way) > least else None


# ---- bones -----------------------------------------------------------------------------------------------


def _bones(skeleton: Skeleton, sides: Sides) -> tuple[list[int | None], list[int | None], list[int]]:
    """For each joint the one before, the one beyond, and how many bones go out from it."""
    children = children_of(skeleton)
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
    return before, beyond, branches


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


def _link_flat_fingers(
    bases: list[str], parts: list[str | None], before: list[int | None], beyond: list[int | None]
) -> frozenset[int]:
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
            if before[second] != first and beyond[first] is None:
                before[second], beyond[first] = first, second
                flat.add(second)
    return frozenset(index for index in flat if parts[index] is not None)


def _link_hung_ends(
    skeleton: Skeleton,
    parts: list[str | None],
    side: list[float],
    before: list[int | None],
    beyond: list[int | None],
) -> dict[int, int]:
    """Link feet and hands to the limb that they end, where they hang under a control instead of it.

    Only where one joint alone can be meant: the one knee or elbow of the same side, while the foot or hand is the
    only one of its side that hangs elsewhere.
    """
    hung: dict[int, int] = {}
    for end, limb in ENDS.items():
        for one in sorted(set(side)):
            ends = [index for index, part in enumerate(parts) if part == end and side[index] == one]
            limbs = [index for index, part in enumerate(parts) if part == limb and side[index] == one]
            loose = [index for index in ends if not set(limbs) & set(skeleton.ancestors(index))]
            if len(loose) == len(limbs) == 1:
                hung[loose[0]] = before[loose[0]] = limbs[0]
                beyond[limbs[0]] = loose[0]
    return hung


# ---- directions --------------------------------------------------------------------------------------------


def _up(skeleton: Skeleton, parts: list[str | None]) -> Vector:
    """The model axis from the feet to where the legs begin; y where there is no telling."""
    low, high = _middle(skeleton, parts, ("ankle",)), _middle(skeleton, parts, ("hip",))
    way = direction(low, high) if low and high else None
    if way is None or abs(way[1]) >= max(abs(way[0]), abs(way[2])):
        return UP
    return _nearest_axis(way)


def _front(skeleton: Skeleton, sides: Sides, parts: list[str | None], up: Vector) -> Vector:
    """Left cross up where the sides are known; else where the feet point; else +z."""
    left = direction_to_left(skeleton, sides)
    if left is not None and length(cross(left, up)) > 0.5:
        return unit(cross(left, up))
    ankles, toes = _middle(skeleton, parts, ("ankle",)), _middle(skeleton, parts, ("toes",))
    way = direction(ankles, toes) if ankles and toes else None
    level = subtract(way, scaled(up, dot(way, up))) if way else FRONT
    return unit(level) if length(level) > 0.1 else FRONT


def _middle(skeleton: Skeleton, parts: list[str | None], wanted: tuple[str, ...]) -> Vector | None:
    origins = [frame.origin for frame, part in zip(skeleton.frames, parts, strict=True) if part in wanted]
    if not origins:
        return None
    total: Vector = (0.0, 0.0, 0.0)
    for origin in origins:
        total = add(total, origin)
    return scaled(total, 1.0 / len(origins))


def _nearest_axis(way: Vector) -> Vector:
    largest = max(range(3), key=lambda coordinate: abs(way[coordinate]))
    sign = 1.0 if way[largest] > 0 else -1.0
    return (sign * (largest == 0), sign * (largest == 1), sign * (largest == 2))
