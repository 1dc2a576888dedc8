"""Whether two triangles meet, decided by looking for an axis that keeps them apart.

Two convex sets in space are disjoint exactly where their shadows on some line are; for two triangles it is enough to
try the normals, the cross products of their edges, and, where they lie in one plane, the directions square to an edge
in that plane (separating axis theorem; S. Gottschalk, M. C. Lin, D. Manocha, "OBBTree", SIGGRAPH 1996, for polytopes).
A triangle without area borrows a normal from the other's edges, so segments and points are decided too.

Triangles are closed: touching in a corner, along an edge or in a plane is meeting. A pair is called apart only
where the gap on
an axis is wider than what rounding can have done to it, so no pair that meets is missed, and pairs may be said to meet
that are apart by a few units in the last place of their coordinates.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from plica.measure.structure_of_arrays import cross, dot
from plica.mesh.arrays import Floats, Integers

Mask = NDArray[np.bool_]

# A scalar product of three terms and the subtraction of an origin err by less than this, relative to the sizes.
_ROUNDING = 16.0 * float(np.finfo(np.float64).eps)
# An area below this share of the longest edge's square gives no direction.
_NO_AREA = 1e-12
_AT_ONCE = 1 << 12


def meeting(a: Floats, b: Floats) -> Mask:
    """Which pairs of closed triangles a and b, (n, 3 corners, 3), have a point in common."""
    result = np.zeros(len(a), bool)
    for start in range(0, len(a), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        result[part] = _meeting(a[part], b[part])
    return result


def _meeting(a: Floats, b: Floats) -> Mask:
    pair = _TrianglePair(a, b)
    for stage in (_along_boxes, _along_normals, _along_crossed_edges, _within_planes):
        pair = pair.still(stage)
        if not len(pair.rows):
            break
    result = np.zeros(len(a), bool)
    result[pair.rows] = True
    return result


class _TrianglePair:
    """Pairs that no axis has separated yet; coordinates (3, 3 corners, n), from the first corner of a."""

    def __init__(self, a: Floats, b: Floats) -> None:
        origin = a[:, :1]
        self.rows: Integers = np.arange(len(a))
        self.a = np.ascontiguousarray((a - origin).transpose(2, 1, 0))
        self.b = np.ascontiguousarray((b - origin).transpose(2, 1, 0))
        # Rounding of coordinates far from the origin has happened before; here only differences are rounded.
        self.size = np.maximum(np.abs(self.a).max(axis=(0, 1)), np.abs(self.b).max(axis=(0, 1)))

    def still(self, stage: Callable[[_TrianglePair], Mask]) -> _TrianglePair:
        """Those that a stage's axes do not separate."""
        left = np.flatnonzero(~stage(self))
        kept = object.__new__(_TrianglePair)
        kept.rows, kept.size = self.rows[left], self.size[left]
        kept.a, kept.b = self.a[:, :, left], self.b[:, :, left]
        return kept

    def edges(self, which: Floats) -> Floats:
        """(3, 3 edges, n)."""
        return np.asarray(which[:, [1, 2, 0]] - which)

    def apart(self, axis: Floats) -> Mask:
        """Which pairs an axis (3, n) keeps apart."""
        one, other = dot(axis[:, None], self.a), dot(axis[:, None], self.b)
        gap = np.maximum(one.min(axis=0) - other.max(axis=0), other.min(axis=0) - one.max(axis=0))
        return np.asarray(gap > _ROUNDING * np.abs(axis).sum(axis=0) * self.size)

    def normals(self) -> tuple[Floats, Floats]:
        """A normal of each (3, n); of one without area, a direction square to its longest edge."""
        a, b = self.edges(self.a), self.edges(self.b)
        longest_a, longest_b = _longest(a), _longest(b)
        normal_a, normal_b = cross(a[:, 0], a[:, 1]), cross(b[:, 0], b[:, 1])
        flat_a, flat_b = _flat(normal_a, longest_a), _flat(normal_b, longest_b)
        between = _between(longest_a, longest_b, self.b[:, 0])
        own_a = np.where(flat_a, np.where(flat_b, between, cross(longest_a, normal_b)), normal_a)
        own_b = np.where(flat_b, np.where(flat_a, between, cross(longest_b, normal_a)), normal_b)
        return own_a, own_b


def _along_boxes(pair: _TrianglePair) -> Mask:
    one, other = pair.a, pair.b
    gap = np.maximum(one.min(axis=1) - other.max(axis=1), other.min(axis=1) - one.max(axis=1)).max(axis=0)
    return np.asarray(gap > _ROUNDING * pair.size)


def _along_normals(pair: _TrianglePair) -> Mask:
    one, other = pair.normals()
    return np.asarray(pair.apart(one) | pair.apart(other))


def _along_crossed_edges(pair: _TrianglePair) -> Mask:
    a, b = pair.edges(pair.a), pair.edges(pair.b)
    apart = np.zeros(len(pair.rows), bool)
    for one in range(3):
        for other in range(3):
            apart |= pair.apart(cross(a[:, one], b[:, other]))
    return apart


def _within_planes(pair: _TrianglePair) -> Mask:
    """In the planes, and along and between what has no area."""
    apart = np.zeros(len(pair.rows), bool)
    for normal, corners in zip(pair.normals(), (pair.a, pair.b), strict=True):
        edges = pair.edges(corners)
        for number in range(3):
            apart |= pair.apart(cross(normal, edges[:, number]))
            apart |= pair.apart(edges[:, number])
    for one in range(3):
        for other in range(3):
            apart |= pair.apart(pair.b[:, other] - pair.a[:, one])
    return apart


def _longest(edges: Floats) -> Floats:
    which = dot(edges, edges).argmax(axis=0)
    return np.asarray(np.take_along_axis(edges, which[None, None], 1)[:, 0])


def _between(a: Floats, b: Floats, gap: Floats) -> Floats:
    """A direction square to two segments; where they are parallel or one is a point, to the plane through both."""
    crossed, first, second = cross(a, b), dot(a, a), dot(b, b)
    longer = np.where(first >= second, a, b)
    parallel = dot(crossed, crossed) <= (_NO_AREA * np.maximum(first, second)) ** 2
    return np.where(parallel, cross(longer, gap), crossed)


def _flat(normal: Floats, longest: Floats) -> Mask:
    return np.asarray(dot(normal, normal) <= (_NO_AREA * dot(longest, longest)) ** 2)
