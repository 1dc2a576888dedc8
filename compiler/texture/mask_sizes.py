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

from plica.mesh.arrays import Floats, Integers
from plica.texture.atlas import Atlas
from plica.texture.gutter import nearest
from plica.texture.lookups import SkinLookups
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

    counts (size, size): how many texels of the full size in each texel hold the skin's values.
    """

    counts: Singles

    def means(self, sums: Singles) -> Singles:
        """The mask (size, size) from the sums of the texels of the full size in each of its own."""
        means = sums / np.maximum(self.counts, np.float32(1.0))
        result: Singles = np.minimum(means.reshape(-1)[self._nearest], np.float32(1.0))
        return result

    @cached_property
    def _nearest(self) -> Integers:
        """Where each texel takes its value from."""
        return nearest(self.counts > 0.0)


class Sizer:
    """Makes the smaller forms of masks of one sheet."""

    def __init__(self, sheet: Atlas, uv: Floats, triangles: Integers) -> None:
        """uv (v, 2) and triangles (t, 3) are those that the sheet was made of."""
        self._held, self._uv, self._triangles = sheet.held, uv, triangles
        self._measured = SkinLookups(measured_points(triangles).places(uv, triangles))
        self._levels = {sheet.size: _Level(self._held.astype(np.float32))}

    def sized(self, mask: Singles, tolerance: float) -> Sized:
        """The sizes of a full-size mask (size, size), from the full one down to 4 or the first that is off by more
        than the tolerance, even when it has been fitted.
        """
        size = len(mask)
        images = {size: in_bytes(mask)}
        exact = np.zeros(self._measured.count, np.float32)
        seeing = self._measured.seeing(mask)
        exact[seeing] = self._measured.at(seeing, mask)
        errors = {size: self._error(images[size], mask, exact)}
        sums = np.where(self._held, mask, np.float32(0.0))
        while size > SMALLEST:
            sums, size = _gathered(sums), size // 2
            means = self._level(size).means(sums)
            images[size] = in_bytes(means)
            errors[size] = self._error(images[size], mask, exact)
            if errors[size] > tolerance + SLACK:
                images[size] = in_bytes(fitted(self._fitted, means, mask))
                errors[size] = self._error(images[size], mask, exact)
            if errors[size] > tolerance + SLACK:
                break
        return Sized(images, errors, exact)

    def _level(self, size: int) -> _Level:
        if size not in self._levels:
            self._levels[size] = _Level(_gathered(self._levels[2 * size].counts))
        return self._levels[size]

    @cached_property
    def _fitted(self) -> SkinLookups:
        return SkinLookups(fitted_points(self._triangles).places(self._uv, self._triangles))

    def _error(self, image: Bytes, mask: Singles, exact: Singles) -> float:
        """How far an image's lookups at the points of measuring are from `exact` (points,), those of the mask."""
        seeing = self._measured.seeing(image, mask)
        result = self._measured.at(seeing, image.astype(np.float32)) / np.float32(255.0)
        return float(np.abs(result - exact[seeing]).max(initial=0.0))


def fitted(points: SkinLookups, image: Singles, mask: Singles) -> Singles:
    """A mask (size, size) changed so that lookups at the points come closer to those of the full-size mask.

    Only texels that a lookup that is off has a say in are changed, which for most folds are few.
    """
    size, values = len(image), image.reshape(-1).copy()
    seeing = points.seeing(image, mask)
    off = np.abs(points.at(seeing, mask) - points.at(seeing, image)) > NOT_OFF
    to_change = np.zeros(len(values), np.float32)
    say = points.matrix(seeing[off], size)
    to_change[say.indices[say.data != 0.0]] = 1.0
    changing = np.flatnonzero(to_change)
    near = points.seeing(to_change.reshape(image.shape))
    near = near[points.at(near, to_change.reshape(image.shape)) != 0.0]
    some = points.matrix(near, size)[:, changing]
    back = some.T.tocsr()
    shares = np.maximum(np.asarray(back.sum(axis=1)).reshape(-1), LEAST_SHARE)
    part = values[changing]
    rest = points.at(near, mask) - (points.at(near, image) - some @ part)
    for _ in range(FITTING):
        part = np.clip(part + RELAXATION * (back @ (rest - some @ part)) / shares, 0.0, 1.0)
    values[changing] = part
    return values.reshape(image.shape)


def _gathered(values: Singles) -> Singles:
    """Sums of two by two texels."""
    rows = values[0::2] + values[1::2]
    result: Singles = rows[:, 0::2] + rows[:, 1::2]
    return result
