"""How well the pairs of a skeleton and the places of its joints agree, and which joints are left without a partner."""

from __future__ import annotations

from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import dot, subtract
from plica.skeleton.pairs_by_position import beside, pairs_by_position, places_of
from plica.skeleton.planes import Plane
from plica.skeleton.sides import Pair, Sides
from plica.skeleton.skeleton import Skeleton


class Pairing(NamedTuple):
    """Which joints have a partner on the other side.

    joints: of the skeleton. paired: with a partner; placed: of these, found by position and not by name. sided: how
    many should have one: those that are paired, and those beside the mirror plane. left_over: the names of those that
    should and have none.
    """

    joints: int
    paired: int
    placed: int
    sided: int
    left_over: tuple[str, ...]

    def __str__(self) -> str:
        left = ", ".join(f"`{name}`" for name in self.left_over)
        return f"{self.summary}{f', left: {left}' if left else ''}"

    @property
    def summary(self) -> str:
        """How many joints are paired, without the names of those that are left."""
        found = f", {self.placed} by position" if self.placed else ""
        return f"{self.paired} of {self.sided} joints to the sides paired{found}"


def pairing_of(skeleton: Skeleton, sides: Sides, plane: Plane | None) -> Pairing:
    """The pairing of a skeleton; without a mirror plane no joint is beside it."""
    left_over = [joint for joint in beside(places_of(skeleton), plane) if joint not in sides.partner] if plane else []
    paired = len(sides.partner)
    names = tuple(skeleton.joints[joint].name for joint in left_over)
    return Pairing(len(skeleton.joints), paired, 2 * len(sides.placed), paired + len(left_over), names)


def side_of_left(skeleton: Skeleton, sides: Sides, plane: Plane) -> float:
    """The side of the plane on which most left joints stand, 1.0 for its positive one; 0.0 where as many do not."""
    total = sum(_side(skeleton, pair, plane) for pair in sides.pairs.values())
    return 0.0 if total == 0 else 1.0 if total > 0 else -1.0


def contradicted(skeleton: Skeleton, sides: Sides, plane: Plane, left: float = 0.0) -> list[tuple[int, int]]:
    """Named pairs (left, right) that places deny: another joint is the partner, or left stands where right is.

    left: the side of the plane where left was stated to be, as `side_of_left` gives it; 0.0 where it was not.
    """
    named = [pair for pair in sides.pairs.values() if pair.base not in sides.placed]
    if not named:
        return []
    image = {joint: other for pair in pairs_by_position(skeleton, plane).pairs for joint, other in (pair, pair[::-1])}
    side = left or side_of_left(skeleton, sides, plane)
    return [
        (pair.left, pair.right)
        for pair in named
        if image.get(pair.left, pair.right) != pair.right
        or image.get(pair.right, pair.left) != pair.left
        or (pair.left in image and _side(skeleton, pair, plane) == -side != 0.0)
    ]


def _side(skeleton: Skeleton, pair: Pair, plane: Plane) -> float:
    """The side on which a pair's left joint stands, seen from its right one; 0.0 where neither is to a side."""
    places = places_of(skeleton)
    across = dot(plane.normal, subtract(places[pair.left], places[pair.right]))
    return 0.0 if abs(across) < 1e-9 else 1.0 if across > 0 else -1.0
