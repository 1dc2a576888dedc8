"""Single-precision bounds of triangles' deformation, so that only the few that may be the worst are worked out exactly.

For J (3, 2) with the singular values s1 >= s2 let `l1` = s1^2 and `l2` = s2^2. An error E of J changes either by no
more than 2 s1 |E| + |E|^2 (Weyl's inequality for J^T J, Frobenius norms), and |E| follows from the rounding of
places, edges and products (standard model of rounding: every operation errs by at most `_UNIT` of its result).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from plica.measure.structure_of_arrays import Near, Singles
from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseSingles

GROUP = 32
"""Triangles that share their bounds."""

# Half the distance from 1 to the next number of single precision.
_UNIT = 2.0**-24
# Triangles x frames that are worked on at once, in whole groups, and triangles at the least and the most.
_CACHED, _LEAST, _MOST = 1 << 16, 256, 1024
# Below this, numbers of single precision lose digits; also what rounding adds there.
_TINY = 1e-30


@dataclass(frozen=True, eq=False)
class DeformationBounds:
    """corners (t, 3) and scales (3, t), as those of `Stretch`, with t > 0, of so many points."""

    points: int
    corners: Integers
    scales: Floats

    def suspects(self, near: Near, starts: Integers) -> NDArray[np.bool_]:
        """Which groups may hold the largest s1, the smallest s2 or the largest shear of each run of frames, and in
        which of them: (groups, frames); starts (runs,): the runs' first frames. Says nothing of places that are not
        finite."""
        with np.errstate(all="ignore"):
            first, second, skew, mean = self._figures(near.places)
            size = np.sqrt(first.astype(np.float64))
            error = self._of_place[:, None] * near.extents + self._of_size[:, None] * size
            size += error
            slack = 2.0 * size * error + error**2 + 20.0 * _UNIT * size**2 + _TINY
            skewed = 4.0 * slack / np.maximum(mean - slack, 0.0)
            result = _may_be_largest(first, slack, starts) | _may_be_largest(-second, slack, starts)
            return result | _may_be_largest(skew, skewed, starts)

    @cached_property
    def _kept(self) -> dict[int, list[SparseSingles]]:
        """`_maps` by the number of triangles, as far as asked for."""
        return {}

    def _maps(self, size: int) -> list[SparseSingles]:
        """What takes places to the two columns of J, for `size` triangles each: first all first columns, then all
        second ones; of each the first triangles of all groups, then all second triangles, and so on, the last one
        repeated."""
        if size in self._kept:
            return self._kept[size]
        count = len(self.corners)
        order = np.arange(-(-count // size) * size).reshape(-1, size // GROUP, GROUP).transpose(0, 2, 1)
        rows = np.minimum(order.reshape(-1, size), count - 1)
        along, mixed, across = self.scales
        first = np.stack([-along, along, np.zeros(count)], axis=1)
        second = np.stack([mixed - across, -mixed, across], axis=1)
        shape = (2 * size, self.points)
        starts = np.arange(0, 6 * size + 1, 3)
        result = self._kept[size] = []
        for part in rows:
            values = np.concatenate([first[part], second[part]]).reshape(-1).astype(np.float32)
            places = np.tile(self.corners[part].reshape(-1), 2)
            result.append(sparse.csr_array((values, places, starts.copy()), shape=shape))
            result[-1].eliminate_zeros()
        return result

    @cached_property
    def _of_place(self) -> Floats:
        """|E| of each group for every unit of the largest coordinate: two rounded places to an edge."""
        along, mixed, across = self.scales
        known = (along > _TINY) & (across > _TINY) & (along < 1.0 / _TINY) & (across < 1.0 / _TINY)
        return self._of_groups(np.where(known, 4.0 * _UNIT * (along + np.abs(mixed) + across), np.inf))

    @cached_property
    def _of_size(self) -> Floats:
        """|E| of each group for every unit of s1: edges and their products, a second edge being as long as
        (s2 + s1 mixed / along) / across at the most."""
        along, mixed, _ = self.scales
        share = 12.0 * _UNIT * (1.0 + np.abs(mixed) / along)
        # What is computed of s1 may itself be short by as much.
        return self._of_groups(np.where(share < 0.5, share / (1.0 - share), np.inf))

    def _of_groups(self, values: Floats) -> Floats:
        return np.maximum.reduceat(values, np.arange(0, len(values), GROUP))

    def _figures(self, places: Singles) -> tuple[Floats, Floats, Floats, Floats]:
        """Of each group and frame: the largest l1, the smallest l2, the largest (l1 - l2) / (l1 + l2), and the smallest
        (l1 + l2) / 2."""
        groups, frames = -(-len(self.corners) // GROUP), places.shape[2]
        size = min(max(_CACHED // frames, _LEAST), _MOST) // GROUP * GROUP
        maps = self._maps(size)
        result = np.empty((4, len(maps), size // GROUP, frames), np.float32)
        room = np.empty((size, frames), np.float32)
        for number, columns in enumerate(maps):
            whole, difference = _doubled(columns, places, room)
            result[0, number] = _by_group(np.add(whole, difference, out=room)).max(axis=0)
            result[1, number] = _by_group(np.subtract(whole, difference, out=room)).min(axis=0)
            result[2, number] = _by_group(np.divide(difference, whole, out=room)).max(axis=0)
            result[3, number] = _by_group(whole).min(axis=0)
        first, second, skew, mean = result.reshape(4, -1, frames)[:, :groups].astype(np.float64)
        return 0.5 * first, 0.5 * second, skew, 0.5 * mean


def _by_group(values: Singles) -> Singles:
    return values.reshape(GROUP, -1, values.shape[1])


def _doubled(columns: SparseSingles, places: Singles, room: Singles) -> tuple[Singles, Singles]:
    """l1 + l2 and l1 - l2 of some triangles (t, frames): the trace of J^T J, and the root of the squares of the
    difference of its diagonal and of twice what is beside it."""
    parts = []
    for values in places:
        both = columns @ values
        one, other = both[: len(room)], both[len(room) :]
        beside = one * other
        both *= both
        parts.append((one, other, beside))
    (first, second, beside), *others = parts
    for one, other, mixed in others:
        first += one
        second += other
        beside += mixed
    difference = np.subtract(first, second, out=room)
    difference *= difference
    first += second
    beside *= beside
    beside *= np.float32(4.0)
    beside += difference
    return first, np.sqrt(beside, out=beside)


def _may_be_largest(values: Floats, slack: Floats, starts: Integers) -> NDArray[np.bool_]:
    """Where values (n, frames), each known to within its slack, may be the largest of their run of frames."""
    certain = values - slack
    floors = np.maximum.reduceat(np.where(np.isfinite(certain), certain, -np.inf).max(axis=0), starts)
    return ~(values + slack < np.repeat(floors, np.diff(starts, append=values.shape[1])))
