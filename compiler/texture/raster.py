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

from plica.mesh.arrays import Floats, Integers

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
class TexelRaster:
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
    texels: Integers
    triangles: Indices
    rows: Indices
    columns: Indices
    others: TexelRaster | None
    report: UvReport

    @cached_property
    def weights(self) -> Floats:
        """The weights (n, 3) of the corners of each texel's triangle in its middle; they add up to 1."""
        return self.weights_at(np.arange(len(self.texels)))

    def weights_at(self, which: Indices | Integers) -> Floats:
        """The weights (m, 3) at some of the texels, by their place in the list."""
        owner = taken(self.triangles, which)
        x = taken(self.columns, which) - taken(self.origins[:, 0], owner)
        y = taken(self.rows, which) - taken(self.origins[:, 1], owner)
        result = np.empty((len(owner), 3))
        for corner in (0, 1):
            right, down = taken(self.slopes[:, corner, 0], owner), taken(self.slopes[:, corner, 1], owner)
            right *= x
            down *= y
            np.add(right, down, out=result[:, corner + 1])
        np.subtract(1.0, result[:, 1] + result[:, 2], out=result[:, 0])
        return result

    @property
    def covered(self) -> Flags:
        """Whether each texel (size, size) is covered."""
        result = np.zeros(self.size * self.size, dtype=np.bool_)
        result[self.texels] = True
        return result.reshape(self.size, self.size)


_Corners = list[tuple[Floats, Floats]]
"""The coordinates across and down (t,) of each of triangles' three corners."""


class _Triangles(NamedTuple):
    """Corners (t, 3, 2) as texel places, middles of texels at whole numbers; turning from x to y; their vertices."""

    places: Floats
    corners: Integers
    numbers: Integers


class _Pairs(NamedTuple):
    """Texels in triangles, in the order of the triangles, stretch by stretch: those of one triangle in one row.

    owners, rows (s,): a stretch's triangle, by its place in the list, and its row; stretches, columns (n,): the stretch
    and the column of each texel. Rows and columns are not brought into the texture.
    """

    owners: Indices
    rows: Indices
    stretches: Integers
    columns: Indices

    def texels(self, size: int) -> Integers:
        """Their numbers; `size` is a power of two or 1."""
        starts = (self.rows & (size - 1)) * size
        return taken(starts.astype(np.int64), self.stretches) + (self.columns & (size - 1))


def taken(values: NDArray[Number], which: Indices | Integers) -> NDArray[Number]:
    """Some entries of an array, by numbers that are known to be in range: not looking at that halves the time."""
    return np.take(values, which, axis=0, mode="clip")


def rasterised(uv: Floats, triangles: Integers, size: int) -> TexelRaster:
    """The texels that triangles (t, 3) with texture coordinates (v, 2) cover in a square texture of `size` texels.

    `size` is a power of two, at most 2**15.
    """
    corners = [(taken(uv[:, 0], column), taken(uv[:, 1], column)) for column in triangles.T]
    usable, outside = _ranges(corners)
    laid = _laid_out(corners, triangles, usable, size)
    pairs = _filled(laid)
    texels = pairs.texels(size)
    count = len(texels)
    first = np.full(size * size, -1, dtype=np.int32)
    first[texels[::-1]] = np.arange(count - 1, -1, -1, dtype=np.int32)
    covered = np.flatnonzero(first >= 0)
    turned = triangles.copy()
    turned[laid.numbers] = laid.corners
    slopes = np.zeros((len(triangles), 2, 2))
    slopes[laid.numbers] = _slopes(laid.places)
    origins = np.zeros((len(triangles), 2))
    origins[laid.numbers] = laid.places[:, 0]
    stretch_owners = taken(laid.numbers, pairs.owners).astype(np.int32)

    def raster(which: Integers, at: Integers, others: TexelRaster | None, report: UvReport) -> TexelRaster:
        stretches, columns = taken(pairs.stretches, which), taken(pairs.columns, which)
        owners, rows = taken(stretch_owners, stretches), taken(pairs.rows, stretches)
        return TexelRaster(size, turned, origins, slopes, at, owners, rows, columns, others, report)

    others = None
    report = UvReport(len(triangles), outside, int((~usable).sum()), len(covered), 0)
    if len(covered) < count:
        rest = np.flatnonzero(first[texels] != np.arange(count, dtype=np.int32))
        report = report._replace(overlapping=len(np.unique(texels[rest])))
        others = raster(rest, texels[rest], None, report)
    return raster(taken(first, covered).astype(np.int64), covered, others, report)


def _ranges(corners: _Corners) -> tuple[Flags, int]:
    """Which triangles can be used, and how many of these reach out of 0..1 by more than rounding."""
    usable = np.ones(len(corners[0][0]), dtype=np.bool_)
    beyond = np.zeros(len(usable), dtype=np.bool_)
    slack = 1e-6
    for axis in (0, 1):
        least, greatest = _ends([corner[axis] for corner in corners])
        # Comparisons with what is not a number are false, and what is infinite is too far away.
        usable &= (least > -(2.0**20)) & (greatest < 2.0**20) & (greatest <= least + MOST_TEXTURES_ACROSS)
        beyond |= (least < -slack) | (greatest > 1.0 + slack)
    return usable, int((beyond & usable).sum())


def _ends(three: list[Floats]) -> tuple[Floats, Floats]:
    """The least and the greatest of three."""
    one, two, other = three
    return np.minimum(np.minimum(one, two), other), np.maximum(np.maximum(one, two), other)


def _laid_out(corners: _Corners, triangles: Integers, usable: Flags, size: int) -> _Triangles:
    """The triangles that have an area, moved by whole textures to where they begin in the first, all turning alike."""
    numbers = np.flatnonzero(usable)
    vertices = taken(triangles, numbers)
    places = np.empty((len(numbers), 3, 2))
    whole = size * STEPS
    for axis in (0, 1):
        steps = [np.rint(taken(corner[axis], numbers) * whole) for corner in corners]
        least, greatest = _ends(steps)
        astray = (least < 0.0) | (greatest > whole)
        shift = np.where(astray, np.floor(least / whole) * whole, 0.0)
        for number, step in enumerate(steps):
            places[:, number, axis] = (step - shift) / STEPS - 0.5
    area = _doubled_areas(places)
    turned = np.flatnonzero(area < 0.0)
    vertices[turned] = vertices[turned][:, [0, 2, 1]]
    places[turned] = places[turned][:, [0, 2, 1]]
    kept = np.flatnonzero(area)
    return _Triangles(taken(places, kept), taken(vertices, kept), taken(numbers, kept))


def _doubled_areas(places: Floats) -> Floats:
    """Twice the area (t,) of triangles (t, 3, 2), negative where they turn from y to x."""
    one, other = places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]
    result: Floats = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    return result


def _filled(laid: _Triangles) -> _Pairs:
    """All pairs of a texel and a triangle that covers it."""
    columns, rows = np.ascontiguousarray(laid.places.transpose(2, 1, 0))
    upmost, lowest = _ends(list(rows))
    top = np.ceil(upmost)
    # A row through the lowest corner is left out: at most a bottom edge lies in it.
    heights = np.maximum(np.ceil(lowest) - top, 0.0).astype(np.int64)
    owners = np.repeat(np.arange(len(rows[0]), dtype=np.int32), heights)
    row: Floats = np.repeat(top, heights) + _counted(heights)
    begin, end = _stretches(columns, rows, heights, row)
    lengths = np.maximum(end - begin, 0.0).astype(np.int64)
    stretches = np.repeat(np.arange(len(row)), lengths)
    before = np.cumsum(lengths) - lengths
    starts = (np.where(lengths > 0, begin, 0.0) - before).astype(np.int32)
    within = taken(starts, stretches) + np.arange(len(stretches), dtype=np.int32)
    return _Pairs(owners, row.astype(np.int32), stretches, within)


def _counted(counts: Integers) -> Integers:
    """0, 1, ... for each count, one after the other."""
    total = np.cumsum(counts)
    return np.arange(total[-1] if len(total) else 0) - np.repeat(total - counts, counts)


def _stretches(columns: Floats, rows: Floats, heights: Integers, row: Floats) -> tuple[Floats, Floats]:
    """The first column of each row of each triangle, and the one after the last.

    Corners are given by columns (3, t) and rows (3, t). All rows of a triangle, `heights` (t,) of them, one triangle
    after the other in `row` (n,), lie from its upmost corner on and above its lowest.
    """
    begin, end = np.full(len(row), -np.inf), np.full(len(row), np.inf)
    for number in range(3):
        following = (number + 1) % 3
        across, down = columns[following] - columns[number], rows[following] - rows[number]
        constant = columns[number] * down - across * rows[number]
        # A left edge leads up: inside from it on. A right one leads down: outside from it on. A level one decides
        # nothing, for no row lies beyond it but that of a bottom edge, which is left out.
        crossing = np.repeat(across, heights)
        crossing *= row
        crossing += np.repeat(constant, heights)
        with np.errstate(divide="ignore", invalid="ignore"):
            crossing /= np.repeat(down, heights)
        np.ceil(crossing, out=crossing)
        np.maximum(begin, crossing, out=begin, where=np.repeat(down < 0.0, heights))
        np.minimum(end, crossing, out=end, where=np.repeat(down > 0.0, heights))
    return begin, end


def _slopes(places: Floats) -> Floats:
    """How the weights of the last two corners change to the right and downward (t, 2, 2)."""
    one, other = places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]
    second = np.stack([other[:, 1], -other[:, 0]], axis=1)
    third = np.stack([-one[:, 1], one[:, 0]], axis=1)
    return np.stack([second, third], axis=1) / _doubled_areas(places)[:, None, None]
