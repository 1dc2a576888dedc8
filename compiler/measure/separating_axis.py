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
from functools import partial
from typing import Final

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
    pairs = _TrianglePairs.of(a, b)
    for stage in (_along_a_normal, _along_another_normal, *_CROSSED_EDGES, _along_others):
        pairs = pairs.still(stage)
    result = np.zeros(len(a), bool)
    result[pairs.rows] = True
    return result


class _TrianglePairs:
    """Pairs that no axis has separated yet; coordinates (3, 3 corners, n), from the first corner of a."""

    def __init__(self, rows: Integers, a: Floats, b: Floats, size: Floats) -> None:
        self.rows, self.a, self.b, self.size = rows, a, b, size

    @classmethod
    def of(cls, a: Floats, b: Floats) -> _TrianglePairs:
        """All pairs of triangles (n, 3 corners, 3)."""
        # Rounding of coordinates far from the origin has happened before; here only differences are rounded.
        one, other = (np.ascontiguousarray((corners - a[:, :1]).transpose(2, 1, 0)) for corners in (a, b))
        size = np.maximum(np.abs(one).max(axis=(0, 1)), np.abs(other).max(axis=(0, 1)))
        return cls(np.arange(len(a)), one, other, size)

    def still(self, stage: Stage) -> _TrianglePairs:
        """Those that a stage's axes do not separate."""
        apart = np.zeros(len(self.rows), bool)
        for start in range(0, len(apart), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            apart[part] = stage(_TrianglePairs(self.rows[part], self.a[..., part], self.b[..., part], self.size[part]))
        left = np.flatnonzero(~apart)
        a, b = (np.take(corners, left, axis=2) for corners in (self.a, self.b))
        return _TrianglePairs(self.rows[left], a, b, self.size[left])

    def apart(self, axis: Floats) -> Mask:
        """Which pairs an axis (3, n) keeps apart."""
        one, other = dot(axis[:, None], self.a), dot(axis[:, None], self.b)
        gap = np.maximum(_least(one) - _most(other), _least(other) - _most(one))
        return np.asarray(gap > _ROUNDING * np.abs(axis).sum(axis=0) * self.size)

    def normals(self) -> tuple[Floats, Floats]:
        """A normal of each (3, n); of one without area, a direction square to its longest edge."""
        a, b = _edges(self.a), _edges(self.b)
        longest_a, longest_b = _longest(a), _longest(b)
        normal_a, normal_b = _normal(self.a), _normal(self.b)
        flat_a, flat_b = _flat(normal_a, longest_a), _flat(normal_b, longest_b)
        between = _between(longest_a, longest_b, self.b[:, 0])
        own_a = np.where(flat_a, np.where(flat_b, between, cross(longest_a, normal_b)), normal_a)
        own_b = np.where(flat_b, np.where(flat_a, between, cross(longest_b, normal_a)), normal_b)
        return own_a, own_b


def _along_a_normal(pairs: _TrianglePairs) -> Mask:
    return pairs.apart(_normal(pairs.a))


def _along_another_normal(pairs: _TrianglePairs) -> Mask:
    return pairs.apart(_normal(pairs.b))


def _along_crossed_edges(pairs: _TrianglePairs, edge: int) -> Mask:
    """Square to an edge of a and each of b."""
    a, b = _edge(pairs.a, edge), _edges(pairs.b)
    apart = np.zeros(len(pairs.rows), bool)
    for other in range(3):
        apart |= pairs.apart(cross(a, b[:, other]))
    return apart


def _along_others(pairs: _TrianglePairs) -> Mask:
    """Along the coordinates, in the planes, and along and between what has no area."""
    gaps = np.maximum(_least(pairs.a, 1) - _most(pairs.b, 1), _least(pairs.b, 1) - _most(pairs.a, 1))
    apart = np.asarray(gaps.max(axis=0) > _ROUNDING * pairs.size)
    for normal, corners in zip(pairs.normals(), (pairs.a, pairs.b), strict=True):
        apart |= pairs.apart(normal)
        edges = _edges(corners)
        for number in range(3):
            apart |= pairs.apart(cross(normal, edges[:, number]))
            apart |= pairs.apart(edges[:, number])
    for one in range(3):
        for other in range(3):
            apart |= pairs.apart(pairs.b[:, other] - pairs.a[:, one])
    return apart


Stage = Callable[[_TrianglePairs], Mask]
_CROSSED_EDGES: Final[tuple[Stage, ...]] = tuple(partial(_along_crossed_edges, edge=edge) for edge in range(3))


def _least(corners: Floats, axis: int = 0) -> Floats:
    return np.asarray(corners.min(axis=axis))


def _most(corners: Floats, axis: int = 0) -> Floats:
    return np.asarray(corners.max(axis=axis))


def _edge(corners: Floats, number: int) -> Floats:
    """(3, n)."""
    return np.asarray(corners[:, (number + 1) % 3] - corners[:, number])


def _edges(corners: Floats) -> Floats:
    """(3, 3 edges, n)."""
    return np.asarray(corners[:, [1, 2, 0]] - corners)


def _normal(corners: Floats) -> Floats:
    return cross(_edge(corners, 0), _edge(corners, 1))


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
