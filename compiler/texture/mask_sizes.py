"""Smaller forms of masks, and how far each is off where it counts: on the mesh.

A smaller texel is the mean of those texels of the full size that lie in it and hold the skin's values: the covered
ones and, beside them, those in which values go on beyond an island's edge, so that means at an edge are not drawn
inward. What has none in it takes the value of the nearest texel that has. Where that is off by more than the
tolerance, texels are changed a little so that linear lookups on the mesh come closer to those of the full size:
simultaneous iterative reconstruction (Gilbert, Journal of Theoretical Biology 36 (1972) 105-117), a few steps of it,
kept within 0..1. It lets a mask be half as large for the same error.

It is fitted at every vertex and at four places in each triangle. It is measured at the vertices and at two other places
in each triangle: a linear lookup of the smaller mask, after rounding to 8 bits, is compared with that of the full-size
mask before rounding (`plica.texture.skin_points`). In between it may be off by a little more: on the demo
character, at 16 places in each triangle, 0.081 was measured where 0.069 is reported, and less elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from scipy import sparse

from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseSingles
from plica.texture.atlas import Atlas
from plica.texture.gutter import nearest
from plica.texture.png import Bytes, in_bytes
from plica.texture.raster import Singles
from plica.texture.skin_points import fitted_points, measured_points

SMALLEST: Final = 4
FITTING: Final = 10
"""Steps of fitting; more bring little."""
RELAXATION: Final = np.float32(1.5)
LEAST_SHARE: Final = np.float32(1e-3)
"""Texels that lookups hardly touch are hardly changed."""
NOT_OFF: Final = 1e-4
"""Lookups that are off by no more than this need no fitting."""
SLACK: Final = 1e-6
"""Errors that exceed a tolerance by no more than rounding does not count."""


@dataclass(frozen=True, eq=False)
class Sized:
    """A mask in several sizes. images: (size, size) by size; errors: the greatest, by size, 0 to 1; on_skin (n,): the
    mask of full size before rounding at the measured points of the skin.
    """

    images: dict[int, Bytes]
    errors: dict[int, float]
    on_skin: Singles

    def smallest(self, tolerance: float) -> int:
        """The smallest size whose error, and that of no larger one, exceeds the tolerance; else the full size."""
        sizes = sorted(self.images, reverse=True)
        result = sizes[0]
        for size in sizes:
            if self.errors[size] > tolerance + SLACK:
                break
            result = size
        return result


@dataclass(frozen=True, eq=False)
class _Level:
    """One size of a sheet.

    counts (size, size): how many texels of the full size in each texel hold the skin's values; measured: lookups at the
    points of measuring, a sparse matrix of points by texels; points (n, 2): those of fitting.
    """

    counts: Singles
    measured: SparseSingles
    points: Floats

    def means(self, sums: Singles) -> Singles:
        """The mask (size, size) from the sums of the texels of the full size in each of its own."""
        means = sums / np.maximum(self.counts, np.float32(1.0))
        result: Singles = np.minimum(means.reshape(-1)[self._nearest], np.float32(1.0))
        return result

    def fitted(self, image: Singles, exact: Singles) -> Singles:
        """A mask (size, size) changed so that lookups at the points of fitting come closer to `exact` (points,).

        Only texels that a lookup that is off has a say in are changed, which for most folds are few.
        """
        forth, back, shares = self._fitting
        values = image.reshape(-1).copy()
        off = np.abs(exact - forth @ values) > NOT_OFF
        changing = np.flatnonzero(back @ off.astype(np.float32))
        to_change = np.zeros(len(values), np.float32)
        to_change[changing] = 1.0
        points = np.flatnonzero(forth @ to_change)
        some = forth[points][:, changing]
        back, shares = some.T.tocsr(), shares[changing]
        part = values[changing]
        rest = exact[points] - (forth[points] @ values - some @ part)
        for _ in range(FITTING):
            part = np.clip(part + RELAXATION * (back @ (rest - some @ part)) / shares, 0.0, 1.0)
        values[changing] = part
        return values.reshape(image.shape)

    @cached_property
    def _nearest(self) -> Integers:
        """Where each texel takes its value from."""
        return nearest(self.counts > 0.0)

    @cached_property
    def _fitting(self) -> tuple[SparseSingles, SparseSingles, Singles]:
        """Lookups, their transpose, and the sums of its rows."""
        forth = lookups(self.points, len(self.counts))
        back = forth.T.tocsr()
        return forth, back, np.maximum(np.asarray(back.sum(axis=1)).reshape(-1), LEAST_SHARE)


class Sizer:
    """Makes the smaller forms of masks of one sheet."""

    def __init__(self, sheet: Atlas, uv: Floats, triangles: Integers) -> None:
        """uv (v, 2) and triangles (t, 3) are those that the sheet was made of."""
        self._held = sheet.held
        self._fitted = fitted_points(triangles).places(uv, triangles)
        self._measured = measured_points(triangles).places(uv, triangles)
        self._levels = {sheet.size: self._level_of(self._held.astype(np.float32))}

    def sized(self, mask: Singles, tolerance: float) -> Sized:
        """The sizes of a full-size mask (size, size), from the full one down to 4 or the first that is off by more
        than the tolerance, even when it has been fitted.
        """
        size = len(mask)
        images = {size: in_bytes(mask)}
        exact = self._levels[size].measured @ mask.reshape(-1)
        errors = {size: self._error(images[size], exact)}
        fitted_to: Singles | None = None
        sums = np.where(self._held, mask, np.float32(0.0))
        while size > SMALLEST:
            sums, size = _gathered(sums), size // 2
            level = self._level(size)
            means = level.means(sums)
            images[size] = in_bytes(means)
            errors[size] = self._error(images[size], exact)
            if errors[size] > tolerance + SLACK:
                if fitted_to is None:
                    fitted_to = lookups(self._fitted, len(mask)) @ mask.reshape(-1)
                images[size] = in_bytes(level.fitted(means, fitted_to))
                errors[size] = self._error(images[size], exact)
            if errors[size] > tolerance + SLACK:
                break
        return Sized(images, errors, exact)

    def _level(self, size: int) -> _Level:
        if size not in self._levels:
            self._levels[size] = self._level_of(_gathered(self._levels[2 * size].counts))
        return self._levels[size]

    def _level_of(self, counts: Singles) -> _Level:
        return _Level(counts, lookups(self._measured, len(counts)), self._fitted)

    def _error(self, image: Bytes, exact: Singles) -> float:
        """How far an image's lookups at the points of measuring are from `exact` (points,) at most."""
        if not len(exact):
            return 0.0
        result = self._levels[len(image)].measured @ image.reshape(-1).astype(np.float32)
        return float(np.abs(result / np.float32(255.0) - exact).max())


def lookups(points: Floats, size: int) -> SparseSingles:
    """The weights (n, size * size) of the texels in linear lookups at texture coordinates (n, 2).

    Middles of texels stand at half steps. Within 0..1 the outermost texels go on to the border; beyond, the texture
    repeats. Where coordinates are not finite nothing has any weight.
    """
    known = np.asarray(np.isfinite(points).all(axis=1))
    points = np.where(known[:, None], points, 0.0)
    inside = (points >= 0.0) & (points <= 1.0)
    within = np.where(inside, points, points - np.floor(points))
    place = np.clip(within * size - 0.5, 0.0, size - 1.0)
    before = np.minimum(place.astype(np.int32), max(size - 2, 0))
    share = (place - before).astype(np.float32)
    across, down = share[:, 0], share[:, 1]
    corner = before[:, 1] * np.int32(size) + before[:, 0]
    texels = corner[:, None] + np.array([0, 1, size, size + 1], dtype=np.int32)
    upper = (np.float32(1.0) - down) * known
    lower = down * known
    weights = np.empty((len(points), 4), np.float32)
    weights[:, 1], weights[:, 3] = across * upper, across * lower
    weights[:, 0], weights[:, 2] = upper - weights[:, 1], lower - weights[:, 3]
    starts = np.arange(0, weights.size + 1, 4, dtype=np.int32)
    return sparse.csr_array((weights.reshape(-1), texels.reshape(-1), starts), shape=(len(points), size * size))


def _gathered(values: Singles) -> Singles:
    """Sums of two by two texels."""
    rows = values[0::2] + values[1::2]
    result: Singles = rows[:, 0::2] + rows[:, 1::2]
    return result
