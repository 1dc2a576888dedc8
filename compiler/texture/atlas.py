"""A texture of one uv set: what each texel's value is made of, gutters included, for any number of masks at once.

Outside the islands of the texture layout every texel takes its value from the nearest covered one (far out in large
textures from one about as near), so that no filter and no smaller mip level brings in what does not belong to the
skin. Close to an island the value goes on as it changes inside: the texel is weighed by the corners of the nearest
covered texel's triangle, beyond its edge. A linear filter at the border of an island then gives what the skin has
there, on both sides of a seam of the layout.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from scipy import sparse

from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseSingles
from plica.texture.gutter import gutter_of
from plica.texture.patches import PatchPoints, TexelPatches, patches_of
from plica.texture.raster import Flags, Indices, Singles, TexelRaster, rasterised

BORDER: Final = 2.0
"""How many texels beyond an island values go on as they change inside; a linear filter reaches no further than 1.5."""
FURTHEST: Final = 2.0
"""A triangle's weights are trusted up to so much outside 0..1 (beyond: the nearest covered texel's are taken)."""


@dataclass(frozen=True, eq=False)
class Atlas:
    """A texture layout at its full size.

    patches: what texels take their values from (None where nothing is covered at all); vertices: how many there are;
    gutter (g,): the texels that nothing covers, rising; behind (g,): the covered texel that each goes with, of those
    close to an island the nearest (`plica.texture.gutter`); border (b,): those of the gutter in which values go on as
    they change inside.
    """

    raster: TexelRaster
    patches: TexelPatches | None
    vertices: int
    gutter: Indices
    behind: Indices
    border: Indices

    @property
    def size(self) -> int:
        """Texels across."""
        return self.raster.size

    @property
    def covered(self) -> Flags:
        """Whether each texel (size, size) is covered."""
        return self.raster.covered

    @property
    def held(self) -> Flags:
        """Whether each texel (size, size) holds the skin's own values: those covered, and the border."""
        result = self.covered
        result.reshape(-1)[self.border] = True
        return result

    @cached_property
    def places(self) -> Floats:
        """The texture coordinates (n, 2) of the middles of the covered texels."""
        texels = self.raster.texels
        return np.stack([texels % self.size + 0.5, texels // self.size + 0.5], axis=1) / self.size

    def image(self, weights: Floats) -> Singles:
        """The mask (size, size), 0 to 1, of weights (v,) of the vertices.

        Where triangles overlap in the texture the greatest weight counts.
        """
        if self.patches is None:
            return np.zeros((self.size, self.size), np.float32)
        image = self.patches.image(weights)
        if self.raster.others is not None:
            result = image.reshape(-1)
            others = np.clip(self._others @ weights.astype(np.float32), 0.0, 1.0)
            np.maximum.at(result, self.raster.others.texels, others)
            beside = self._beside_others
            result[self.gutter[beside]] = np.maximum(result[self.gutter[beside]], result[self.behind[beside]])
        return image

    def mixed(self, values: Floats) -> Floats:
        """Values (v, k) of the vertices mixed in every texel (size * size, k), not clipped; where there are patches."""
        assert self.patches is not None
        return np.stack([self.patches.mixed(column).reshape(-1) for column in values.T], axis=1)

    def disagreement(self, weights: Floats, more_than: float) -> int:
        """At how many texels overlapping skin differs by more than that in a mask with weights (v,) of the vertices."""
        others = self.raster.others
        if others is None:
            return 0
        exact = weights.astype(np.float32)
        apart = np.abs(self._others @ exact - self._under_others @ exact)
        return len(np.unique(others.texels[apart > more_than]))

    def filled(self, values: Singles) -> Singles:
        """Values (n,) of the covered texels over the whole texture (size, size): elsewhere the nearest one's."""
        result = np.zeros(self.size * self.size, np.float32)
        result[self.raster.texels] = values
        result[self.gutter] = result[self.behind]
        return result.reshape(self.size, self.size)

    @cached_property
    def _others(self) -> SparseSingles:
        others = self.raster.others
        assert others is not None
        corners = others.corners.astype(np.int32)[others.triangles]
        return _matrix(others.weights.astype(np.float32), corners, self.vertices)

    @cached_property
    def _beside_others(self) -> Integers:
        """Which of the gutter's texels take their value from where triangles overlap."""
        assert self.raster.others is not None
        return np.flatnonzero(np.isin(self.behind, self.raster.others.texels))

    @cached_property
    def _under_others(self) -> SparseSingles:
        assert self.raster.others is not None
        which = np.searchsorted(self.raster.texels, self.raster.others.texels)
        corners = self.raster.corners.astype(np.int32)[self.raster.triangles[which]]
        return _matrix(self.raster.weights_at(which.astype(np.int32)).astype(np.float32), corners, self.vertices)


def atlas_of(uv: Floats, triangles: Integers, size: int) -> Atlas:
    """The sheet of triangles (t, 3) with texture coordinates (v, 2) in a texture of `size` texels across."""
    raster = rasterised(uv, triangles, size)
    if not len(raster.texels):
        nothing = np.zeros(0, dtype=np.int32)
        return Atlas(raster, None, len(uv), nothing, nothing, nothing)
    gutter, behind = gutter_of(raster.covered)
    near = _near(raster, gutter, behind)
    patch = np.zeros(size * size, dtype=np.int32)
    patch[raster.texels] = raster.triangles
    astray = np.flatnonzero((raster.rows | raster.columns) >= size)
    patch[raster.texels[astray]] = np.arange(len(astray), dtype=np.int32) + len(triangles)
    patch[gutter[near]] = patch[behind[near]]
    far = np.ones(len(gutter), dtype=np.bool_)
    far[near] = False
    sources, number = _numbered(behind[far], size * size)
    patch[gutter[far]] = number + (len(triangles) + len(astray))
    points = _points(raster, astray, sources)
    return Atlas(
        raster, patches_of(raster, patch.reshape(size, size), points, len(uv)), len(uv), gutter, behind, gutter[near]
    )


def _near(raster: TexelRaster, gutter: Indices, behind: Indices) -> Integers:
    """Which of the gutter's texels are so close to the texels behind them that values go on as they change there."""
    size = raster.size
    down, across = gutter // size - behind // size, gutter % size - behind % size
    near = np.flatnonzero(across * across + down * down <= BORDER * BORDER)
    inside = np.searchsorted(raster.texels, behind[near])
    slopes = raster.slopes[raster.triangles[inside]]
    change = slopes[:, :, 0] * across[near, None] + slopes[:, :, 1] * down[near, None]
    weights = raster.weights_at(inside) + np.concatenate([-change.sum(axis=1, keepdims=True), change], axis=1)
    trusted = np.abs(weights - 0.5) <= 0.5 + FURTHEST
    return near[np.flatnonzero(trusted.all(axis=1))]


def _numbered(texels: Indices, count: int) -> tuple[Integers, Indices]:
    """The different ones among texels (n,) of `count`, rising, and the place (n,) of each in that list."""
    number = np.zeros(count, dtype=np.int32)
    number[texels] = 1
    result = np.flatnonzero(number)
    number[result] = np.arange(len(result), dtype=np.int32)
    return result, number[texels]


def _points(raster: TexelRaster, astray: Integers, sources: Integers) -> PatchPoints:
    """The patches apart from triangles: of covered texels in another repeat of the texture than their triangles' first,
    by their places in the raster's list, and even ones of the values of covered texels.
    """
    which = np.concatenate([astray, np.searchsorted(raster.texels, sources)])
    slopes = raster.slopes[raster.triangles[which]]
    slopes[len(astray) :] = 0.0
    return PatchPoints(raster.triangles[which], raster.weights_at(which), raster.texels[which], slopes)


def _matrix(weights: Singles, corners: Indices, vertices: int) -> SparseSingles:
    """Rows of three corners' weights."""
    starts = np.arange(0, weights.size + 1, 3, dtype=np.int32)
    return sparse.csr_array((weights.reshape(-1), corners.reshape(-1), starts), shape=(len(weights), vertices))
