"""Pairs of joints found by where they stand and what they hang from, whatever they are called.

Two joints are a pair where each is the one joint that stands where the other's mirror image falls, and what they hang
from is a pair as well or the same joint. Several joints that fit equally well are unknown: none is chosen.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations
from typing import Final

from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import Vector, add, dot, length, scaled, subtract, unit
from plica.skeleton.frames import extent_of
from plica.skeleton.middle import median
from plica.skeleton.planes import Plane, turned_plane
from plica.skeleton.sides import AXES, AxisName, Pair
from plica.skeleton.skeleton import Skeleton

TOLERANCE: Final = 0.01
"""How far a joint's mirror image may fall from its partner, as a share of the body's largest extent."""
_NEARER = 0.5  # the nearest counts as the only one where it is at least this much nearer than the next
_MIDDLE = 0.001  # nearer to the plane than this share of the extent, a joint stands in the middle
_RIVAL = 0.8  # another plane with this share of the best one's pairs leaves unknown which one it is
_HELD = 1e-6  # metres: below this, distances are all the same
_SAME_WAY = 0.999  # cosine of the angle between normals that are one direction
_MOST_TURNED = 64  # planes along no axis that are tried


class PositionPairs(NamedTuple):
    """What places say about a skeleton; joints as indexes.

    `plane`: the mirror plane, None where there is none or several are as good (`rivals` says which). `pairs`:
    the joint on the plane's positive side first. `ambiguous`: beside the plane, with several partners as good as each
    other. `alone`: beside the plane, without a partner.
    """

    plane: Plane | None
    pairs: tuple[tuple[int, int], ...]
    ambiguous: tuple[int, ...]
    alone: tuple[int, ...]
    rivals: tuple[str, ...] = ()


def places_of(skeleton: Skeleton) -> tuple[Vector, ...]:
    """Where the joints stand when left mirrors right, metres of model space."""
    return tuple(frame.origin for frame in skeleton.frames)


def beside(places: Sequence[Vector], plane: Plane) -> tuple[int, ...]:
    """The places that are not in the middle: further than the tolerance from their own mirror images."""
    limit = TOLERANCE * extent_of(places)
    return tuple(at for at, place in enumerate(places) if 2 * abs(plane.height(place)) > limit)


def pairs_by_position(skeleton: Skeleton, plane: Plane | None = None, axis: AxisName | None = None) -> PositionPairs:
    """The pairs of a skeleton across a plane; across the one with most pairs (of this axis) where none is given.

    Where no plane along an axis leaves no doubt, one that is turned with the whole skeleton may.
    """
    if plane is not None:
        return _Matching(skeleton, plane).result()
    found = _with_most_pairs(skeleton, _planes(skeleton, AXES if axis is None else (axis,)))
    if axis is not None or plainly_two_sided(found):
        return found
    turned = _with_most_pairs(skeleton, _turned_planes(skeleton))
    if turned.plane is None or not plainly_two_sided(turned):
        return found
    known = [Pair(skeleton.joints[left].name, left, right) for left, right in turned.pairs]
    return _Matching(skeleton, turned_plane(skeleton, known) or turned.plane).result()


def _with_most_pairs(skeleton: Skeleton, planes: Iterable[Plane]) -> PositionPairs:
    """What the plane with most pairs gives; no plane where another one gives nearly as many."""
    ranked: dict[str, PositionPairs] = {}
    for candidate in planes:
        result = _Matching(skeleton, candidate).result()
        known = ranked.get(candidate.text)
        if result.pairs and (known is None or len(result.pairs) > len(known.pairs)):
            ranked[candidate.text] = result
    if not ranked:
        return PositionPairs(None, (), (), ())
    most = max(len(result.pairs) for result in ranked.values())
    rivals = tuple(name for name, result in ranked.items() if len(result.pairs) >= _RIVAL * most)
    if len(rivals) > 1:
        return PositionPairs(None, (), (), (), rivals)
    return ranked[rivals[0]]


def plainly_two_sided(found: PositionPairs) -> bool:
    """Whether places alone leave no doubt that there is a left and a right: three pairs, and most joints in them."""
    return len(found.pairs) >= 3 and 2 * len(found.pairs) > len(found.ambiguous) + len(found.alone)


def _planes(skeleton: Skeleton, axes: Iterable[AxisName]) -> Iterator[Plane]:
    """Planes that may be the mirror: through the origin, the middle, the joint in the middle, and each root."""
    places = places_of(skeleton)
    if len(places) < 2:
        return
    roots = [place for place, joint in zip(places, skeleton.joints, strict=True) if joint.parent is None]
    grain = _MIDDLE * extent_of(places)
    for axis in axes:
        values = [place[AXES.index(axis)] for place in places]
        tried: list[float] = []
        for offset in (
            0.0,
            median(values),
            (min(values) + max(values)) / 2,
            *(root[AXES.index(axis)] for root in roots),
        ):
            if all(abs(offset - other) > grain for other in tried):
                tried.append(offset)
                yield Plane.across(axis, offset)


def _turned_planes(skeleton: Skeleton) -> Iterator[Plane]:
    """Planes between two joints that hang from one, as far from it and with as much below them: a pair where they
    are one. Each direction once."""
    places = places_of(skeleton)
    near = TOLERANCE * extent_of(places)
    tried: list[Vector] = []
    for joint, place in enumerate(places):
        for left, right in combinations(skeleton.children(joint), 2):
            way = subtract(places[left], places[right])
            reaches = [length(subtract(places[child], place)) for child in (left, right)]
            alike = len(skeleton.below(left)) == len(skeleton.below(right)) and abs(reaches[0] - reaches[1]) <= near
            if not alike or length(way) <= 2 * near:
                continue
            normal = unit(way)
            if any(abs(dot(normal, other)) > _SAME_WAY for other in tried):
                continue
            tried.append(normal)
            yield Plane(normal, dot(normal, scaled(add(places[left], places[right]), 0.5)))
            if len(tried) == _MOST_TURNED:
                return


class _Matching:
    """Pairs joints across one plane, from the roots down."""

    def __init__(self, skeleton: Skeleton, plane: Plane) -> None:
        self._skeleton, self._plane, self._places = skeleton, plane, places_of(skeleton)
        extent = extent_of(self._places)
        self._limit, self._grain = TOLERANCE * extent, max(_MIDDLE * extent, _HELD)
        self._height = [plane.height(place) for place in self._places]
        self._cells: dict[tuple[int, ...], list[int]] = {}
        for joint, place in enumerate(self._places):
            self._cells.setdefault(self._cell(place), []).append(joint)
        self._below = [1] * len(self._places)
        self._lean = [self._sign(height) for height in self._height]
        self._gather()
        self.image: dict[int, int] = {}  # a joint in the middle is its own
        self._ambiguous: set[int] = set()

    def result(self) -> PositionPairs:
        """Pairs whose parents are known first; then those below joints that only one side has."""
        for skipping in (False, True):
            while self._pass(skipping):
                pass
        self._drop_disagreeing()
        pairs = tuple(
            (joint, other) if self._lean[joint] > 0 else (other, joint)
            for joint, other in sorted(self.image.items())
            if joint < other
        )
        left_over = [joint for joint in beside(self._places, self._plane) if joint not in self.image]
        ambiguous = tuple(joint for joint in left_over if joint in self._ambiguous)
        alone = tuple(joint for joint in left_over if joint not in self._ambiguous)
        return PositionPairs(self._settled(pairs), pairs, ambiguous, alone)

    def _settled(self, pairs: Sequence[tuple[int, int]]) -> Plane:
        joints, plane = self._skeleton.joints, self._plane
        worst = max(
            ((self._apart(plane.reflect(self._places[one]), other), joints[one].name) for one, other in pairs),
            default=(0.0, ""),
        )
        return plane._replace(residual=worst[0], worst=worst[1])

    def _gather(self) -> None:
        """How many joints hang below each, and to which side those in the middle lead (0.0: to both or none)."""
        sides: list[set[float]] = [{lean} - {0.0} for lean in self._lean]
        for joint in range(len(self._places) - 1, -1, -1):
            parent = self._skeleton.joints[joint].parent
            if self._lean[joint] == 0.0 and len(sides[joint]) == 1:
                (self._lean[joint],) = sides[joint]
            if parent is not None:
                self._below[parent] += self._below[joint]
                sides[parent] |= sides[joint]

    def _sign(self, height: float) -> float:
        return 0.0 if abs(height) <= self._grain else 1.0 if height > 0 else -1.0

    def _cell(self, place: Vector) -> tuple[int, ...]:
        size = self._limit or 1.0
        return tuple(int(value // size) for value in place)

    def _near(self, place: Vector) -> list[tuple[float, int]]:
        """The joints within the tolerance of a place, with their distance from it."""
        x, y, z = self._cell(place)
        around = (
            joint
            for i in (x - 1, x, x + 1)
            for j in (y - 1, y, y + 1)
            for k in (z - 1, z, z + 1)
            for joint in self._cells.get((i, j, k), ())
        )
        found = ((self._apart(place, joint), joint) for joint in around)
        return [(distance, joint) for distance, joint in found if distance <= self._limit]

    def _apart(self, place: Vector, joint: int) -> float:
        return length(subtract(place, self._places[joint]))

    def _pass(self, skipping: bool) -> bool:
        """Pairs what can be paired now; whether anything was."""
        before = len(self.image)
        for joint, record in enumerate(self._skeleton.joints):
            ready = skipping or record.parent is None or record.parent in self.image
            if joint in self.image or not ready:
                continue
            other = self._best(joint, skipping)
            if other is not None and (other == joint or self._best(other, skipping) == joint):
                self.image[joint], self.image[other] = other, joint
        return len(self.image) > before

    def _best(self, joint: int, skipping: bool) -> int | None:
        """The one joint that stands where a joint's mirror image falls: itself for the middle, None for none."""
        wanted = self._carrier_image(joint, skipping)
        found = sorted(
            (distance, other)
            for distance, other in self._near(self._plane.reflect(self._places[joint]))
            if other not in self.image
            and (other == joint or self._lean[other] * self._lean[joint] <= 0.0)
            and self._carrier(other, skipping) == wanted
        )
        if not found:
            return None
        equal = [other for distance, other in found if distance <= max(found[0][0] / _NEARER, _HELD)]
        if len(equal) > 1:
            equal = self._told_apart(joint, equal)
        if len(equal) > 1:
            self._ambiguous.add(joint)
            return None
        return equal[0]

    def _told_apart(self, joint: int, equal: list[int]) -> list[int]:
        """Of joints in one place, those that lead to the other side and carry as many joints."""
        lean = self._lean[joint]
        if abs(self._height[joint]) <= self._grain:
            across = [other for other in equal if lean and self._lean[other] == -lean]
            if not across:
                return [joint]
            equal = across
        alike = [other for other in equal if self._below[other] == self._below[joint]]
        return alike or equal

    def _carrier(self, joint: int, skipping: bool) -> int | None:
        """What a joint hangs from; `skipping` what is not paired itself."""
        parent = self._skeleton.joints[joint].parent
        while skipping and parent is not None and parent not in self.image:
            parent = self._skeleton.joints[parent].parent
        return parent

    def _carrier_image(self, joint: int, skipping: bool) -> int | None:
        carrier = self._carrier(joint, skipping)
        return None if carrier is None else self.image[carrier]

    def _drop_disagreeing(self) -> None:
        """Pairs hang from pairs, or from one joint; what does not is no pair."""
        changed = True
        while changed:
            wrong = [
                joint
                for joint, other in self.image.items()
                if self._carrier_image(joint, True) != self._carrier(other, True)
            ]
            changed = bool(wrong)
            for joint in wrong:
                self.image.pop(self.image.pop(joint, -1), None)
