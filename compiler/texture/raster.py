"""Triangles rasterised in texture space: which triangle covers each texel, and where in it the texel's middle lies.

A texel is covered where its middle lies in a triangle. A middle on an edge that two triangles share belongs to
exactly one of them: the one that has the edge as its top or its left side (the top-left rule of common graphics
hardware; no source). To make that exact, corners are moved to multiples of 1/4096 of a texel; on these, the ends of
a row's stretch come out of one correctly rounded division, so `ceil` of it is right: with whole numbers below 2**26
no quotient that is not a whole number comes closer to one than the rounding of a double.

Texture coordinates outside 0..1 repeat the texture, as glTF 2.0's default sampler does (section 5.26); v runs down.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from plica.mesh.model import Floats, Integers

Singles = NDArray[np.float32]
Flags = NDArray[np.bool_]
Indices = NDArray[np.int32]
Number = TypeVar("Number", bound=np.generic)

STEPS: Final = 4096.0
"""Steps to a texel that corners are moved to."""
MOST_TEXTURES_ACROSS: Final = 2.0
"""A triangle that spans more repeats of the texture than this has coordinates that cannot be meant."""


class UvReport(NamedTuple):
    """What is unusual about texture coordinates.

    Counts of triangles: all of them, those partly or wholly outside 0..1, and those left out because they have no
    finite coordinates or span too much; counts of texels: covered, and covered more than once.
    """

    triangles: int
    outside: int
    unusable: int
    covered: int
    overlapping: int


@dataclass(frozen=True, eq=False)
class Raster:
    """Covered texels of a square texture of `size` texels.

    texels (n,): number of each covered texel, row * size + column, row 0 on top, rising; triangles (n,): the first
    triangle that covers it; rows, columns (n,): where, in the repeat of the texture that the triangle lies in.
    `others`: the same for each further triangle that covers a texel which is in `texels` already, not in order; None
    where none does. corners (t, 3): the vertices in the order that weights go by, which is the mesh's or with the last
    two exchanged; origins (t, 2): the first corner's column and row, middles of texels at whole numbers; slopes
    (t, 2, 2): how the weights of the last two corners change from a texel to the next on the right and the one below.
    """

    size: int
    corners: Integers
    origins: Floats
    slopes: Floats
    texels: Indices
    triangles: Indices
    rows: Indices
    columns: Indices
    others: Raster | None
    report: UvReport

    @cached_property
    def weights(self) -> Floats:
        """The weights (n, 3) of the corners of each texel's triangle in its middle; they add up to 1."""
        return self.weights_at(np.arange(len(self.texels), dtype=np.int32))

    def weights_at(self, which: Indices) -> Floats:
        """The weights (m, 3) at some of the texels, by their place in the list."""
        owner = taken(self.triangles, which)
        x = taken(self.columns, which) - taken(self.origins[:, 0], owner)
        y = taken(self.rows, which) - taken(self.origins[:, 1], owner)
        found = np.empty((len(owner), 3))
        for corner in (0, 1):
            right, down = taken(self.slopes[:, corner, 0], owner), taken(self.slopes[:, corner, 1], owner)
            right *= x
            down *= y
            np.add(right, down, out=found[:, corner + 1])
        np.subtract(1.0, found[:, 1] + found[:, 2], out=found[:, 0])
        return found

    @property
    def covered(self) -> Flags:
        """Whether each texel (size, size) is covered."""
        found = np.zeros(self.size * self.size, dtype=np.bool_)
        found[self.texels] = True
        return found.reshape(self.size, self.size)


class _Triangles(NamedTuple):
    """Corners (t, 3, 2) as texel places, middles of texels at whole numbers; turning from x to y; their vertices."""

    places: Floats
    corners: Integers
    numbers: Integers


class _Pairs(NamedTuple):
    """Texels in triangles: the triangle's place in the list, and the texel's row and column, not brought into the
    texture: all (n,), in the order of the triangles.
    """

    owner: Indices
    rows: Indices
    columns: Indices

    def texels(self, size: int) -> Indices:
        """Their numbers; `size` is a power of two or 1."""
        return (self.rows & (size - 1)) * np.int32(size) + (self.columns & (size - 1))


def taken(values: NDArray[Number], which: Indices) -> NDArray[Number]:
    """Some entries of an array, by numbers that are known to be in range: not looking at that halves the time."""
    return np.take(values, which, axis=0, mode="clip")


def rasterised(uv: Floats, triangles: Integers, size: int) -> Raster:
    """The texels that triangles (t, 3) with texture coordinates (v, 2) cover in a square texture of `size` texels.

    `size` is a power of two, at most 2**15.
    """
    usable, outside = _ranges(uv, triangles)
    laid = _laid_out(uv, triangles, usable, size)
    pairs = _filled(laid)
    texels = pairs.texels(size)
    count = len(texels)
    first = np.full(size * size, -1, dtype=np.int32)
    first[texels[::-1]] = np.arange(count - 1, -1, -1, dtype=np.int32)
    covered = np.flatnonzero(first >= 0).astype(np.int32)
    corners = triangles.copy()
    corners[laid.numbers] = laid.corners
    slopes = np.zeros((len(triangles), 2, 2))
    slopes[laid.numbers] = _slopes(laid.places)
    origins = np.zeros((len(triangles), 2))
    origins[laid.numbers] = laid.places[:, 0]
    owners = laid.numbers.astype(np.int32)[pairs.owner]

    def raster(which: Indices, at: Indices, others: Raster | None, report: UvReport) -> Raster:
        rows, columns = pairs.rows[which], pairs.columns[which]
        return Raster(size, corners, origins, slopes, at, owners[which], rows, columns, others, report)

    others = None
    report = UvReport(len(triangles), outside, int((~usable).sum()), len(covered), 0)
    if len(covered) < count:
        rest = np.flatnonzero(first[texels] != np.arange(count, dtype=np.int32)).astype(np.int32)
        report = report._replace(overlapping=len(np.unique(texels[rest])))
        others = raster(rest, texels[rest], None, report)
    return raster(first[covered], covered, others, report)


def _ranges(uv: Floats, triangles: Integers) -> tuple[Flags, int]:
    """Which triangles can be used, and how many of these reach out of 0..1 by more than rounding."""
    corners = uv[triangles]
    finite = np.asarray(np.isfinite(corners).all(axis=(1, 2)))
    known = np.where(finite[:, None, None], corners, 0.0)
    narrow = (np.ptp(known, axis=1) <= MOST_TEXTURES_ACROSS).all(axis=1) & (np.abs(known) < 2.0**20).all(axis=(1, 2))
    usable = np.asarray(finite & narrow)
    slack = 1e-6
    beyond = np.asarray(((known < -slack) | (known > 1.0 + slack)).any(axis=(1, 2)))
    return usable, int((beyond & usable).sum())


def _laid_out(uv: Floats, triangles: Integers, usable: Flags, size: int) -> _Triangles:
    """The triangles that have an area, moved by whole textures to where they begin in the first, all turning alike."""
    numbers = np.flatnonzero(usable)
    corners = triangles[numbers].copy()
    steps = np.rint(uv[corners] * size * STEPS)
    whole = size * STEPS
    least, greatest = steps.min(axis=1), steps.max(axis=1)
    astray = (least < 0.0) | (greatest > whole)
    shift = np.where(astray, np.floor(least / whole) * whole, 0.0)
    places = (steps - shift[:, None, :]) / STEPS - 0.5
    one, other = places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]
    area = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    turned = area < 0.0
    corners[turned] = corners[turned][:, [0, 2, 1]]
    places[turned] = places[turned][:, [0, 2, 1]]
    kept = area != 0.0
    return _Triangles(places[kept], corners[kept], numbers[kept])


def _filled(laid: _Triangles) -> _Pairs:
    """All pairs of a texel and a triangle that covers it."""
    places = laid.places
    top = np.ceil(places[:, :, 1].min(axis=1))
    heights = np.maximum(np.floor(places[:, :, 1].max(axis=1)) - top + 1.0, 0.0).astype(np.int64)
    owner = np.repeat(np.arange(len(places), dtype=np.int32), heights)
    row = top[owner] + _counted(heights)
    begin, end = _stretches(places, owner, row)
    lengths = np.maximum(end - begin, 0.0).astype(np.int64)
    columns = np.repeat(np.where(lengths > 0, begin, 0.0).astype(np.int32), lengths) + _counted(lengths)
    return _Pairs(np.repeat(owner, lengths), np.repeat(row.astype(np.int32), lengths), columns)


def _counted(counts: Integers) -> Indices:
    """0, 1, ... for each count, one after the other."""
    total = np.cumsum(counts)
    whole = np.arange(total[-1] if len(total) else 0, dtype=np.int32)
    whole -= np.repeat((total - counts).astype(np.int32), counts)
    return whole


def _stretches(places: Floats, owner: Indices, row: Floats) -> tuple[Floats, Floats]:
    """The first column of each row of each triangle, and the one after the last."""
    begin, end = np.full(len(row), -np.inf), np.full(len(row), np.inf)
    for number in range(3):
        start, stop = places[:, number], places[:, (number + 1) % 3]
        across, down = stop[:, 0] - start[:, 0], stop[:, 1] - start[:, 1]
        constant = start[:, 0] * down - across * start[:, 1]
        steep = down[owner]
        level = steep == 0.0
        crossing = np.ceil((constant[owner] + across[owner] * row) / np.where(level, 1.0, steep))
        np.maximum(begin, np.where(steep < 0.0, crossing, -np.inf), out=begin)  # a left edge, inside from here on
        np.minimum(end, np.where(steep > 0.0, crossing, np.inf), out=end)  # a right edge, outside from here on
        below = level & (across[owner] < 0.0) & (row >= start[owner, 1])  # on a bottom edge: outside
        end[below] = -np.inf
    return begin, end


def _slopes(places: Floats) -> Floats:
    """How the weights of the last two corners change to the right and downward (t, 2, 2)."""
    one, other = places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]
    area = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    second = np.stack([other[:, 1], -other[:, 0]], axis=1)
    third = np.stack([-one[:, 1], one[:, 0]], axis=1)
    return np.stack([second, third], axis=1) / area[:, None, None]
