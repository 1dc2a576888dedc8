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
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.mesh.model import Floats, Integers

Singles = NDArray[np.float32]
Flags = NDArray[np.bool_]

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

    texels (n,): number of each covered texel, row * size + column, row 0 on top; the first triangle that covers it:
    triangles (n,), and weights (n, 3) of its corners, adding up to 1. `others`: the same for each further triangle
    that covers a texel which is in `texels` already; None where none does. corners (t, 3): the vertices in the order
    that weights go by, which is the mesh's or with the last two exchanged.
    """

    size: int
    corners: Integers
    texels: Integers
    triangles: Integers
    weights: Floats
    others: Raster | None
    report: UvReport

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


def rasterised(uv: Floats, triangles: Integers, size: int) -> Raster:
    """The texels that triangles (t, 3) with texture coordinates (v, 2) cover in a square texture of `size` texels."""
    usable, outside = _ranges(uv, triangles)
    laid = _laid_out(uv, triangles, usable, size)
    texels, triangles_of, weights = _filled(laid, size)
    first = np.full(size * size, -1, dtype=np.int64)
    first[texels[::-1]] = np.arange(len(texels))[::-1]
    is_first = np.asarray(first[texels] == np.arange(len(texels)))
    corners = triangles.copy()
    corners[laid.numbers] = laid.corners
    covered = int(is_first.sum())
    overlapping = len(np.unique(texels[~is_first]))
    report = UvReport(len(triangles), outside, int((~usable).sum()), covered, overlapping)
    others = None
    if overlapping:
        rest = ~is_first
        others = Raster(size, corners, texels[rest], triangles_of[rest], weights[rest], None, report)
    order = np.flatnonzero(is_first)
    order = order[np.argsort(texels[order], kind="stable")]
    return Raster(size, corners, texels[order], triangles_of[order], weights[order], others, report)


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


def _filled(laid: _Triangles, size: int) -> tuple[Integers, Integers, Floats]:
    """All pairs of a texel and a triangle that covers it, in the order of the triangles, with the corners' weights."""
    places = laid.places
    top = np.ceil(places[:, :, 1].min(axis=1))
    heights = np.maximum(np.floor(places[:, :, 1].max(axis=1)) - top + 1.0, 0.0).astype(np.int64)
    owner = np.repeat(np.arange(len(places)), heights)
    row = top[owner] + _counted(heights)
    begin, end = _stretches(places, owner, row)
    lengths = np.maximum(end - begin, 0.0).astype(np.int64)
    along = _counted(lengths)
    columns = np.repeat(np.where(lengths > 0, begin, 0.0).astype(np.int64), lengths) + along
    rows = np.repeat(row.astype(np.int64), lengths)
    weights = _weights(places, owner, row, np.where(lengths > 0, begin, 0.0), lengths, along)
    return (rows % size) * size + columns % size, laid.numbers[np.repeat(owner, lengths)], weights


def _counted(counts: Integers) -> Integers:
    """0, 1, ... for each count, one after the other."""
    total = np.cumsum(counts)
    return np.arange(total[-1] if len(total) else 0) - np.repeat(total - counts, counts)


def _stretches(places: Floats, owner: Integers, row: Floats) -> tuple[Floats, Floats]:
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


def _weights(places: Floats, owner: Integers, row: Floats, begin: Floats, lengths: Integers, along: Integers) -> Floats:
    """The corners' weights (n, 3) at the texels of all stretches."""
    one, other = places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]
    area = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    x, y = begin - places[owner, 0, 0], row - places[owner, 0, 1]
    found = np.empty((len(along), 3))
    for corner, (step_x, step_y) in ((1, (other[:, 1], -other[:, 0])), (2, (-one[:, 1], one[:, 0]))):
        slope = (step_x / area)[owner]
        start = x * slope + y * (step_y / area)[owner]
        found[:, corner] = np.repeat(start, lengths) + along * np.repeat(slope, lengths)
    found[:, 0] = 1.0 - found[:, 1] - found[:, 2]
    return found
