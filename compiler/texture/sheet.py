"""A texture of one uv set: what each texel's value is made of, gutters included, for any number of masks at once.

Outside the islands of the texture layout every texel takes its value from the nearest covered one, so that no filter
and no smaller mip level brings in what does not belong to the skin. Close to an island the value goes on as it
changes inside: the texel is weighed by the corners of the nearest covered texel's triangle, beyond its edge. A
linear filter at the border of an island then gives what the skin has there, on both sides of a seam of the layout.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import ndimage, sparse

from plica.mesh.model import Floats, Integers
from plica.texture.raster import Flags, Raster, Singles, rasterised

BORDER: Final = 2.0
"""How many texels beyond an island values go on as they change inside; a linear filter reaches no further than 1.5."""
FURTHEST: Final = 2.0
"""A triangle's weights are trusted up to so much outside 0..1 (beyond: the nearest covered texel's are taken)."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """A texture layout at its full size.

    entries (n + b, v), sparse: the weights of the mesh's vertices in the covered texels, then in those of the
    border; behind (b,): the covered entry that each of the border goes on from; nearest (size, size): the entry that
    each texel of the texture takes its value from.
    """

    raster: Raster
    entries: sparse.csr_array[np.float32]
    behind: Integers
    nearest: Integers

    @property
    def size(self) -> int:
        """Texels across."""
        return self.raster.size

    @property
    def covered(self) -> Flags:
        """Whether each texel (size, size) is covered."""
        return self.raster.covered

    def places(self) -> Floats:
        """The texture coordinates (n, 2) of the middles of the covered texels."""
        texels = self.raster.texels
        return np.stack([texels % self.size + 0.5, texels // self.size + 0.5], axis=1) / self.size

    def continued(self, values: Singles) -> Singles:
        """Values (n,) of the covered texels with those of the border (n + b,): each as the one behind it."""
        return np.concatenate([values, values[self.behind]])

    def values(self, weights: Floats) -> Singles:
        """Values (m, n + b), 0 to 1, of m masks with weights (m, v) of the vertices.

        Where triangles overlap in the texture the greatest weight counts.
        """
        found = _weighed(self.entries, weights)
        others = self.raster.others
        if others is not None:
            places = np.searchsorted(self.raster.texels, others.texels)
            values = _weighed(_entries_of(others, weights.shape[1]), weights)
            for mask, more in zip(found, values, strict=True):
                np.maximum.at(mask, places, more)
        return found

    def disagreement(self, weights: Floats, more_than: float) -> Integers:
        """For each of m masks with weights (m, v): at how many texels overlapping skin differs by more than that."""
        others = self.raster.others
        if others is None:
            return np.zeros(len(weights), dtype=np.int64)
        places = np.searchsorted(self.raster.texels, others.texels)
        apart = np.abs(
            _weighed(_entries_of(others, weights.shape[1]), weights) - _weighed(self.entries, weights)[:, places]
        )
        return np.array([len(np.unique(places[row > more_than])) for row in apart], dtype=np.int64)

    def spread(self, values: Singles) -> Singles:
        """Values (n + b,) over the whole texture (size, size); 0 where nothing is covered at all."""
        if not len(values):
            return np.zeros((self.size, self.size), np.float32)
        found: Singles = values[self.nearest]
        return found


def sheet_of(uv: Floats, triangles: Integers, size: int) -> Sheet:
    """The sheet of triangles (t, 3) with texture coordinates (v, 2) in a texture of `size` texels across."""
    raster = rasterised(uv, triangles, size)
    inside = _entries_of(raster, len(uv))
    number = np.zeros(size * size, dtype=np.int64)
    number[raster.texels] = np.arange(len(raster.texels))
    if not len(raster.texels):
        nothing = np.zeros(0, dtype=np.int64)
        return Sheet(raster, inside, nothing, number.reshape(size, size))
    distances, indices = ndimage.distance_transform_edt(~raster.covered, return_indices=True)
    nearest = number[indices[0].astype(np.int64) * size + indices[1]].reshape(-1)
    border = np.flatnonzero((distances > 0.0) & (distances <= BORDER))
    weights = _beyond(raster, uv, border, nearest[border])
    trusted = (np.abs(weights - 0.5) <= 0.5 + FURTHEST).all(axis=1)
    border, weights = border[trusted], weights[trusted]
    behind = nearest[border]
    outside = _matrix(weights, raster.corners[raster.triangles[behind]], len(uv))
    nearest[border] = len(raster.texels) + np.arange(len(border))
    entries: sparse.csr_array[np.float32] = sparse.vstack([inside, outside], format="csr")
    return Sheet(raster, entries, behind, nearest.reshape(size, size))


def _weighed(entries: sparse.csr_array[np.float32], weights: Floats) -> Singles:
    """Values (m, entries) of weights (m, v), kept within 0..1: they go on beyond edges, and rounding may add a hair."""
    found = np.empty((len(weights), entries.shape[0]), np.float32)
    for values, mask in zip(found, weights.astype(np.float32), strict=True):
        values[:] = entries @ mask  # one by one is faster than all at once, which does not fit the cache
    return np.clip(found, 0.0, 1.0, out=found)


def _entries_of(raster: Raster, vertices: int) -> sparse.csr_array[np.float32]:
    return _matrix(raster.weights, raster.corners[raster.triangles], vertices)


def _matrix(weights: Floats, corners: Integers, vertices: int) -> sparse.csr_array[np.float32]:
    """Rows of three corners' weights."""
    starts = np.arange(0, weights.size + 1, 3)
    return sparse.csr_array(
        (weights.astype(np.float32).reshape(-1), corners.reshape(-1), starts), shape=(len(weights), vertices)
    )


def _beyond(raster: Raster, uv: Floats, border: Integers, nearest: Integers) -> Floats:
    """The weights (b, 3) of the nearest entries' triangles at the texels of the border.

    From the middle of the nearest covered texel on, weights change along the triangle's edges as in it.
    """
    size = raster.size
    corners = uv[raster.corners[raster.triangles[nearest]]] * size
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    area = np.where(area == 0.0, np.nan, area)
    steps = border - raster.texels[nearest]
    y = border // size - raster.texels[nearest] // size
    x = steps - y * size
    second = (x * other[:, 1] - y * other[:, 0]) / area
    third = (y * one[:, 0] - x * one[:, 1]) / area
    found: Floats = raster.weights[nearest] + np.stack([-second - third, second, third], axis=1)
    return found
