"""Offsets across the mirror plane: one-sided sculpts mirrored, two-sided sculpts split.

A sculpt of a shape of both sides is one-sided when it hardly moves the other side of the seam. Then it is
that side's shape, and its mirror image the other's. Else it shows both sides at once, and each side gets its
share by the side weights (`plica.mesh.side_weights`), so that both added up give the sculpt back, bit for bit where
the weights are 0, 0.5 and 1.

A shape of one side runs out over the seam, so "hardly" is a share: of the 22 one-sided shapes of an open face
model the other side moves at most 0.375 times as much as the own one (root of the sum of squares), and of its
13 shapes without a side at least 0.71 times (../shared/data/face; tests/outside/test_face_shapes.py).
Between `ONE_SIDED` and `TWO_SIDED` nothing is plain, and the spec has to say which it is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

import numpy as np

from plica.mesh.arrays import Floats, Integers, Offsets
from plica.mesh.offsets import largest_of, lengths, weighted
from plica.mesh.plane import reflected
from plica.mesh.side_weights import SideWeights
from plica.quantities import length
from plica.skeleton.algebra import Vector
from plica.values import Side, Sided

ONE_SIDED: Final = 0.4
"""A sculpt is plainly one-sided where the other side moves at most this share of what its own side moves."""
TWO_SIDED: Final = 0.7
"""A sculpt is plainly two-sided where the side that moves less moves at least this share of what the other moves."""


@dataclass(frozen=True)
class Handing:
    """Whose side a sculpt is: `left`, `right`, or `both`.

    `largest_left`, `largest_right`, `largest_seam`: by how much (metres) it moves the vertices left of the
    seam, right of it, and on it; `share`: how much the side that moves less moves, as a share of the other
    (root of the sum of squares; 0 where nothing moves). `plain`: whether the shape tells it, or the spec does.
    """

    of: Literal["left", "right", "both"]
    largest_left: float
    largest_right: float
    largest_seam: float
    share: float
    plain: bool = True

    @property
    def sided(self) -> Sided:
        """The decision in the word of the language."""
        return "two-sided" if self.of == "both" else "one-sided"

    @property
    def sentence(self) -> str:
        """What was decided and why, for people."""
        left, right = (length(size) for size in (self.largest_left, self.largest_right))
        moves = f"it moves the left by up to {left} and the right by up to {right}"
        if self.of == "both":
            return f"{moves}, so it is split between the sides"
        other = "right" if self.of == "left" else "left"
        return f"{moves}, so it is the {self.of} side's and mirrored to the {other}"


class Mirrored(NamedTuple):
    """Mirrored offsets; how many moved vertices have no partner and were left out, and the longest of their
    offsets (metres).
    """

    offsets: Offsets
    without_partner: int
    largest_lost: float


def handing(offsets: Offsets, sides: SideWeights, threshold: float = 0.0, stated: Sided | None = None) -> Handing:
    """Decides whether a sculpt is one-sided.

    A vertex is on the left where its left weight is the greater one, and on the seam where both are equal.
    The sculpt is one-sided where the other side moves by no more than `threshold` (metres), or, over all its
    vertices, by no more than `ONE_SIDED` of what the own side moves; two-sided from `TWO_SIDED` on. Between them it
    counts as two-sided and is not `plain`. What moves neither side counts as two-sided. `stated`: what the spec says,
    which then holds.
    """
    left, right, sizes = sides.left[offsets.indices], sides.right[offsets.indices], lengths(offsets.offsets)
    groups = [sizes[where] for where in (left > right, right > left, left == right)]
    largest = [float(group.max(initial=0.0)) for group in groups]  # left, right, seam
    whole = [float(np.linalg.norm(group)) for group in groups[:2]]
    more, less = (0, 1) if whole[0] >= whole[1] else (1, 0)
    share = whole[less] / whole[more] if whole[more] > 0.0 else 0.0
    hardly = share <= ONE_SIDED or largest[less] <= threshold
    plain = stated is not None or hardly or share >= TWO_SIDED
    hardly = hardly if stated is None else stated == "one-sided"
    of: Literal["left", "right", "both"] = "both"
    if hardly and largest[more] > threshold:
        of = "left" if more == 0 else "right"
    return Handing(of, largest[0], largest[1], largest[2], share, plain)


def copy_partners(points: Integers, partners: Integers) -> Integers:
    """For each vertex (v,) the vertex that its mirror image is taken from, -1 for none.

    points (v,) is the welded point of each vertex, partners (p,) the partner of each point, -1 for none, a
    partner's partner being the point itself. Of a point's copies the first goes with the partner's first, the
    second with its second, and so on; where the partner has fewer, its last stands in.
    """
    order = np.argsort(points, kind="stable")
    counts = np.bincount(points, minlength=len(partners))
    starts = np.cumsum(counts) - counts
    rank = np.empty(len(points), np.int64)
    rank[order] = np.arange(len(points)) - starts[points[order]]
    there = partners[points]
    result: Integers = order[starts[there] + np.minimum(rank, counts[there] - 1)]
    return np.where(there < 0, -1, result)


def mirrored(offsets: Offsets, partners: Integers, normal: Vector) -> Mirrored:
    """The offsets' mirror image.

    `partners` (v,) is the vertex that each vertex's image is taken from, -1 for none (`copy_partners`).
    `normal` is the plane's unit normal; where the plane lies does not matter to offsets. Twice is the same as not at
    all, across an axis bit for bit, where every vertex that moves has a partner, and copies of a point move alike or
    are as many on both sides.
    """
    rows = np.full(len(partners), -1)
    rows[offsets.indices] = np.arange(offsets.count)
    taken = np.where(partners >= 0, rows[partners], -1)
    indices = np.flatnonzero(taken >= 0)
    normals = None if offsets.normals is None else reflected(offsets.normals[taken[indices]], normal)
    lost = offsets.offsets[partners[offsets.indices] < 0]
    image = Offsets(indices, reflected(offsets.offsets[taken[indices]], normal), normals)
    return Mirrored(image, len(lost), largest_of(lost))


def side_of(
    offsets: Offsets, side: Side, decided: Handing, sides: SideWeights, image: Callable[[Offsets], Mirrored]
) -> Mirrored:
    """What a sculpt of both sides means for one of them (all of it for neither).

    `sides` has a weight for each vertex; `image` mirrors offsets, as `mirrored` does. `decided` is about
    the shape's sculpt, and holds for its inbetweens too, however little they move.
    """
    if side == "none" or side == decided.of:
        return Mirrored(offsets, 0, 0.0)
    if decided.of == "both":
        return Mirrored(weighted(offsets, sides.of(side)), 0, 0.0)
    return image(offsets)


def added(one: Offsets, other: Offsets, vertex_count: int) -> Offsets:
    """Both offsets at once, on a mesh of `vertex_count` vertices. What cancels out stays as an offset of 0."""
    moving = np.zeros(vertex_count, dtype=np.bool_)
    moving[one.indices] = moving[other.indices] = True
    indices = np.flatnonzero(moving)
    normals: Floats | None = None
    if one.normals is not None or other.normals is not None:
        normals = _sum(indices, (one.indices, one.normals), (other.indices, other.normals))
    return Offsets(indices, _sum(indices, (one.indices, one.offsets), (other.indices, other.offsets)), normals)


def _sum(indices: Integers, *parts: tuple[Integers, Floats | None]) -> Floats:
    # -0.0 and not 0.0, which would turn an offset's -0.0 into 0.0.
    total = np.full((len(indices), 3), -0.0)
    for own, values in parts:
        if values is not None:
            total[np.searchsorted(indices, own)] += values
    return total
