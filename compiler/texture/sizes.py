"""Smaller forms of masks, and how far each is off where it counts: on the mesh.

A smaller texel is the mean of those covered texels of the full size that lie in it; what has none in it takes the
value of the nearest texel that has. Then texels are changed a little so that linear lookups on the mesh come closer
to those of the full size: simultaneous iterative reconstruction (Gilbert, Journal of Theoretical Biology 36 (1972)
105-117), a few steps of it, kept within 0..1. It lets a mask be half as large for the same error.

A linear lookup of the smaller mask, after rounding to 8 bits, is compared with that of the full-size
mask before rounding, at every vertex and at the middle of every triangle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import ndimage, sparse

from plica.mesh.model import Floats, Integers
from plica.texture.png import Bytes, in_bytes
from plica.texture.raster import Flags, Singles
from plica.texture.sheet import Sheet

SMALLEST: Final = 4
FITTING: Final = 10
"""Steps of fitting; more bring little."""
RELAXATION: Final = np.float32(1.5)
LEAST_SHARE: Final = np.float32(1e-3)
"""Texels that lookups hardly touch are hardly changed."""
SLACK: Final = 1e-6
"""Errors that exceed a tolerance by no more than rounding does not count."""


@dataclass(frozen=True, eq=False)
class Sized:
    """A mask in several sizes. images: (size, size) by size; errors: the greatest, by size, 0 to 1."""

    images: dict[int, Bytes]
    errors: dict[int, float]

    def smallest(self, tolerance: float) -> int:
        """The smallest size whose error, and that of no larger one, exceeds the tolerance; else the full size."""
        sizes = sorted(self.images, reverse=True)
        found = sizes[0]
        for size in sizes:
            if self.errors[size] > tolerance + SLACK:
                break
            found = size
        return found


@dataclass(frozen=True, eq=False)
class _Level:
    """One size of a sheet.

    Covered texels of the full size in each texel; where each texel takes its value from; the lookups, a sparse
    matrix of points by texels, and its transpose, with the sums of its rows.
    """

    counts: Singles
    nearest: Integers
    lookups: sparse.csr_array[np.float32]
    back: sparse.csr_array[np.float32]
    shares: Singles

    def fitted(self, values: Singles, exact: Singles) -> Singles:
        """Values (texels,) changed so that lookups come closer to `exact` (points,)."""
        for _ in range(FITTING):
            apart = exact - self.lookups @ values
            values = np.clip(values + RELAXATION * (self.back @ apart) / self.shares, 0.0, 1.0)
        return values


class Sizer:
    """Makes the smaller forms of masks of one sheet."""

    def __init__(self, sheet: Sheet, uv: Floats, triangles: Integers) -> None:
        """uv (v, 2) and triangles (t, 3) are those that the sheet was made of."""
        points = points_of(uv, triangles)
        self._covered = sheet.covered
        self._full = sheet.size
        self._lookups = lookups(points, sheet.size)
        self._levels: dict[int, _Level] = {}
        counts = self._covered.astype(np.float32)
        while counts.shape[0] > SMALLEST:
            counts = _gathered(counts)
            size = counts.shape[0]
            matrix = lookups(points, size)
            back = matrix.T.tocsr()
            shares = np.maximum(np.asarray(back.sum(axis=1)).reshape(-1), LEAST_SHARE)
            self._levels[size] = _Level(counts, _nearest(counts > 0.0), matrix, back, shares)

    def sized(self, mask: Singles, tolerance: float = 1.0) -> Sized:
        """The sizes of a full-size mask (size, size), from the full one down to 4 or the first that is off by more
        than the tolerance.
        """
        images = {self._full: in_bytes(mask)}
        exact = self._lookups @ mask.reshape(-1)
        errors = {self._full: _furthest(self._lookups, images[self._full], exact)}
        sums = np.where(self._covered, mask, np.float32(0.0))
        for size, level in self._levels.items():
            sums = _gathered(sums)
            means = sums / np.maximum(level.counts, np.float32(1.0))
            filled = np.minimum(means.reshape(-1)[level.nearest], np.float32(1.0)).reshape(-1)
            images[size] = in_bytes(level.fitted(filled, exact).reshape(size, size))
            errors[size] = _furthest(level.lookups, images[size], exact)
            if errors[size] > tolerance + SLACK:
                break
        return Sized(images, errors)


def points_of(uv: Floats, triangles: Integers) -> Floats:
    """Texture coordinates (n, 2) of all vertices of triangles, once each, and of the triangles' middles.

    Those that are not finite are left out.
    """
    used = np.unique(triangles)
    points = np.concatenate([uv[used], uv[triangles].mean(axis=1)])
    return np.asarray(points[np.isfinite(points).all(axis=1)])


def lookups(points: Floats, size: int) -> sparse.csr_array[np.float32]:
    """The weights (n, size * size) of the texels in linear lookups at texture coordinates (n, 2).

    Middles of texels stand at half steps. Within 0..1 the outermost texels go on to the border; beyond, the texture
    repeats.
    """
    inside = (points >= 0.0) & (points <= 1.0)
    within = np.where(inside, points, points - np.floor(points))
    place = np.clip(within * size - 0.5, 0.0, size - 1.0)
    before = np.minimum(np.floor(place).astype(np.int64), max(size - 2, 0))
    share = place - before
    columns, rows = before[:, 0], before[:, 1]
    across, down = share[:, 0], share[:, 1]
    corner = rows * size + columns
    texels = np.stack([corner, corner + 1, corner + size, corner + size + 1], axis=1)
    weights = np.stack(
        [(1 - across) * (1 - down), across * (1 - down), (1 - across) * down, across * down], axis=1
    ).astype(np.float32)
    starts = np.arange(0, weights.size + 1, 4)
    return sparse.csr_array((weights.reshape(-1), texels.reshape(-1), starts), shape=(len(points), size * size))


def _furthest(matrix: sparse.csr_array[np.float32], image: Bytes, exact: Singles) -> float:
    if not len(exact):
        return 0.0
    return float(np.abs(matrix @ image.reshape(-1).astype(np.float32) / np.float32(255.0) - exact).max())


def _gathered(values: Singles) -> Singles:
    """Sums of two by two texels."""
    rows = values[0::2] + values[1::2]
    found: Singles = rows[:, 0::2] + rows[:, 1::2]
    return found


def _nearest(covered: Flags) -> Integers:
    """The number (size, size) of the nearest covered texel."""
    size = len(covered)
    if not covered.any():
        return np.zeros(covered.shape, dtype=np.int64)
    indices = ndimage.distance_transform_edt(~covered, return_distances=False, return_indices=True)
    return np.asarray(indices[0].astype(np.int64) * size + indices[1])
