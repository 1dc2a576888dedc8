"""How nearly left mirrors right in a pose of the skeleton, and which of two poses is the evener."""

from __future__ import annotations

from collections.abc import Sequence
from math import acos, asin, inf, sqrt
from typing import Final

from plica.named_tuples import NamedTuple
from plica.quantities import quantity
from plica.skeleton.algebra import Matrix, Vector, dot, length, product, subtract, times, transpose
from plica.skeleton.frames import body_size
from plica.skeleton.planes import CLEARLY, EVEN_SHARE, Plane, find_plane
from plica.skeleton.sides import AxisName, Pair
from plica.skeleton.skeleton import Skeleton

FLIPPED: Final = 0.00349
"""Radians (0.2 deg) up to which the axes of two partners are flips of each other. Where they are in one of two poses,
they are meant to be in the other; where they are in none, their relation says nothing, for many even skeletons have
axes that are no flips."""
EVEN_ANGLE: Final = 0.0873
"""Radians (5 deg) between a pair and its mirror image beyond which a pose is not even."""
_NOTICEABLE: Final = 0.005
_SHORT: Final = 1e-3  # share of the body's size under which a bone has no usable direction


class Evenness(NamedTuple):
    """How even a pose is: the largest distance (metres) and angle (radians) between a pair and its mirror image.

    `share`: the distance as a share of the body's size; `distant`, `turned`: the names of the pairs that miss most;
    `plane`: across which, as `Plane.text` has it, and `along`: whether that lies along an axis of the model.
    """

    distance: float
    angle: float
    share: float
    distant: str
    turned: str
    plane: str = ""
    along: bool = True

    @property
    def even(self) -> bool:
        """Whether left mirrors right, as far as hands pose it."""
        return self.share <= EVEN_SHARE and self.angle <= EVEN_ANGLE

    @property
    def text(self) -> str:
        """The figures, for people."""
        return f"{quantity(self.distance, 'mm', 3)} and {quantity(self.angle, 'deg', 3)}"


def evenness(
    skeleton: Skeleton,
    pairs: Sequence[Pair],
    stated: tuple[AxisName | None, float | None] = (None, None),
    other: Skeleton | None = None,
) -> Evenness | None:
    """How even a pose is across its plane (the stated one, else the best); None without pairs.

    The angle is that by which bones at a pair miss their mirror images, and that by which the pair's axes miss being
    flips of each other, where they are in the `other` pose.
    """
    plane = find_plane(skeleton, pairs, *stated)
    if plane is None or not pairs:
        return None
    against = None if other is None else find_plane(other, pairs, *stated)
    worst, turned = 0.0, pairs[0].base
    for pair in pairs:
        angle = _between_bones(skeleton, plane, pair, pairs)
        if other is not None and against is not None and _off_flip(other, against, pair) <= FLIPPED:
            angle = max(angle, _off_flip(skeleton, plane, pair))
        if angle > worst:
            worst, turned = angle, pair.base
    share = plane.residual / body_size(skeleton)
    return Evenness(plane.residual, worst, share, plane.worst, turned, plane.text, plane.axis is not None)


def clearly_evener(first: Evenness, second: Evenness) -> bool:
    """Whether the first pose is so much evener than the second that another export could not turn it round."""
    ours, theirs = (max(one.share, one.angle) for one in (first, second))
    return theirs > _NOTICEABLE and ours * CLEARLY < theirs


def _off_flip(skeleton: Skeleton, plane: Plane, pair: Pair) -> float:
    """The angle by which the partners' axes miss the nearest flip, signs and order of axes, of each other."""
    left, right = skeleton.orientation(pair.left), skeleton.orientation(pair.right)
    seen = product(transpose(left), product(plane.reflection, right))
    return _angle_to(seen, _nearest_flip(seen))


def _nearest_flip(matrix: Matrix) -> Matrix:
    """The signed permutation that a matrix is nearest to, by its largest elements in turn."""
    rows = [[0.0, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]]
    free, open_columns = {0, 1, 2}, {0, 1, 2}
    while free:
        row, column = max(
            ((row, column) for row in free for column in open_columns), key=lambda at: abs(matrix[at[0]][at[1]])
        )
        rows[row][column] = 1.0 if matrix[row][column] > 0 else -1.0
        free.remove(row)
        open_columns.remove(column)
    first, second, third = ((row[0], row[1], row[2]) for row in rows)
    return first, second, third


def _angle_to(first: Matrix, second: Matrix) -> float:
    """The angle between two orthogonal matrices; infinite where one mirrors and the other does not."""
    trace = sum(dot(a, b) for a, b in zip(first, second, strict=True))
    apart = [value for a, b in zip(first, second, strict=True) for value in subtract(a, b)]
    if sum(value * value for value in apart) < 0.5:
        # |A - B| = 2 sqrt(2) sin(angle / 2), which keeps its digits where the cosine loses them.
        return 2.0 * asin(min(1.0, sqrt(sum(value * value for value in apart) / 8.0)))
    return acos(max(-1.0, min(1.0, (trace - 1.0) / 2.0))) if trace > -1.0 - 1e-9 else inf


def _between_bones(skeleton: Skeleton, plane: Plane, pair: Pair, pairs: Sequence[Pair]) -> float:
    """The largest angle between a bone that ends at a pair, or begins there, and its mirror image."""
    shortest = _SHORT * body_size(skeleton)
    partner = {pair.left: pair.right for pair in pairs}
    ends = [(skeleton.joints[pair.left].parent, pair.left, skeleton.joints[pair.right].parent, pair.right)]
    ends += [
        (pair.left, child, pair.right, partner[child]) for child in skeleton.children(pair.left) if child in partner
    ]
    worst = 0.0
    for start, end, other_start, other_end in ends:
        if start is None or other_start is None:
            continue
        left = times(plane.reflection, _bone(skeleton, start, end))
        right = _bone(skeleton, other_start, other_end)
        if min(length(left), length(right)) > shortest:
            cosine = dot(left, right) / (length(left) * length(right))
            worst = max(worst, acos(max(-1.0, min(1.0, cosine))))
    return worst


def _bone(skeleton: Skeleton, start: int, end: int) -> Vector:
    return subtract(skeleton.frames[end].origin, skeleton.frames[start].origin)
