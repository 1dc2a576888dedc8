"""A texture of one uv set: what each texel's value is made of, gutters included, for any number of masks at once.

Outside the islands of the texture layout every texel takes its value from the nearest covered one, so that no filter
and no smaller mip level brings in what does not belong to the skin. Close to an island the value goes on as it
changes inside: the texel is weighed by the corners of the nearest covered texel's triangle, beyond its edge. A
linear filter at the border of an island then gives what the skin has there, on both sides of a seam of the layout.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, sparse

from plica.mesh.model import Floats, Integers
from plica.texture.raster import Flags, Indices, Number, Raster, Singles, rasterised, taken

BORDER: Final = 2.0
"""How many texels beyond an island values go on as they change inside; a linear filter reaches no further than 1.5."""
FURTHEST: Final = 2.0
"""A triangle's weights are trusted up to so much outside 0..1 (beyond: the nearest covered texel's are taken)."""
TILES: Final = 8
"""A texture is cut into so many tiles across and down: 64, as many as a whole number has bits."""

Matrix = sparse.csr_array[np.float32]


@dataclass(frozen=True, eq=False)
class Sheet:
    """A texture layout at its full size.

    tiles, row by row, each a sparse matrix (texels, v): the weights of the mesh's vertices in every texel (no tiles
    where nothing is covered at all); reach (v,): the tiles in which each vertex has a say, a bit for each; gutter (g,):
    the texels that nothing covers, behind (g,): the covered texel nearest to each; border (b,): those of the gutter in
    which values go on as they change inside.
    """

    raster: Raster
    tiles: tuple[Matrix, ...]
    reach: NDArray[np.uint64]
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
        found = self.covered
        found.reshape(-1)[self.border] = True
        return found

    @cached_property
    def places(self) -> Floats:
        """The texture coordinates (n, 2) of the middles of the covered texels."""
        texels = self.raster.texels
        return np.stack([texels % self.size + 0.5, texels // self.size + 0.5], axis=1) / self.size

    def image(self, weights: Floats) -> Singles:
        """The mask (size, size), 0 to 1, of weights (v,) of the vertices.

        Where triangles overlap in the texture the greatest weight counts.
        """
        exact = weights.astype(np.float32)
        touched = int(np.bitwise_or.reduce(self.reach[exact != 0.0], initial=0))
        image = np.zeros((self.size, self.size), np.float32)
        for number, part in enumerate(tiled(image)):
            if touched >> number & 1:
                values = (self.tiles[number] @ exact).reshape(part.shape)
                # Values go on beyond edges, and rounding may add a hair.
                np.clip(values, 0.0, 1.0, out=part)
        found = image.reshape(-1)
        if self.raster.others is not None:
            np.maximum.at(found, self.raster.others.texels, np.clip(self._others @ exact, 0.0, 1.0))
            beside = self._beside_others
            found[self.gutter[beside]] = np.maximum(found[self.gutter[beside]], found[self.behind[beside]])
        return image

    def mixed(self, values: Floats) -> Floats:
        """Values (v, k) of the vertices mixed in every texel (size * size, k), not clipped; where there are tiles."""
        found = np.empty((self.size, self.size, values.shape[1]))
        for part, matrix in zip(tiled(found), self.tiles, strict=True):
            part[:] = np.asarray(matrix @ values).reshape(part.shape)
        return found.reshape(-1, values.shape[1])

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
        found = np.zeros(self.size * self.size, np.float32)
        found[self.raster.texels] = values
        found[self.gutter] = found[self.behind]
        return found.reshape(self.size, self.size)

    @cached_property
    def _others(self) -> Matrix:
        others = self.raster.others
        assert others is not None
        corners = others.corners.astype(np.int32)[others.triangles]
        return _matrix(others.weights.astype(np.float32), corners, len(self.reach))

    @cached_property
    def _beside_others(self) -> Integers:
        """Which of the gutter's texels take their value from where triangles overlap."""
        assert self.raster.others is not None
        return np.flatnonzero(np.isin(self.behind, self.raster.others.texels))

    @cached_property
    def _under_others(self) -> Matrix:
        assert self.raster.others is not None
        which = np.searchsorted(self.raster.texels, self.raster.others.texels)
        corners = self.raster.corners.astype(np.int32)[self.raster.triangles[which]]
        return _matrix(self.raster.weights_at(which.astype(np.int32)).astype(np.float32), corners, len(self.reach))


def sheet_of(uv: Floats, triangles: Integers, size: int) -> Sheet:
    """The sheet of triangles (t, 3) with texture coordinates (v, 2) in a texture of `size` texels across."""
    raster = rasterised(uv, triangles, size)
    texels = raster.texels
    if not len(texels):
        nothing = np.zeros(0, dtype=np.int32)
        return Sheet(raster, (), np.zeros(len(uv), dtype=np.uint64), nothing, nothing, nothing)
    gutter, behind = _gutter(raster.covered)
    number = np.empty(size * size, dtype=np.int32)
    number[texels] = np.arange(len(texels), dtype=np.int32)
    number[gutter] = number[behind]
    border, beyond = _border(raster, gutter, behind, number)
    exact = np.full(size * size, -1, dtype=np.int32)
    exact[border] = np.arange(len(border), dtype=np.int32)
    corners = raster.corners.astype(np.int32)
    reach = np.zeros(len(corners), dtype=np.uint64)
    tiles = []
    for place, (part, own) in enumerate(
        zip(tiled(number.reshape(size, size)), tiled(exact.reshape(size, size)), strict=True)
    ):
        which, own = part.reshape(-1), own.reshape(-1)
        owner, weights = taken(raster.triangles, which), raster.weights_at(which).astype(np.float32)
        weights[own >= 0] = beyond[own[own >= 0]]
        tiles.append(_matrix(weights, taken(corners, owner), len(uv)))
        reach[owner] |= np.uint64(1 << place)
    return Sheet(raster, tuple(tiles), _of_vertices(reach, raster.corners, len(uv)), gutter, behind, border)


def tiled(image: NDArray[Number]) -> list[NDArray[Number]]:
    """The tiles of an image (size, size), row by row; views, so what is written to them is written to it."""
    count = min(TILES, len(image))
    return [part for row in np.split(image, count) for part in np.split(row, count, axis=1)]


def _gutter(covered: Flags) -> tuple[Indices, Indices]:
    """The texels that are not covered, and the covered one nearest to each."""
    gutter = np.flatnonzero(~covered).astype(np.int32)
    if not len(gutter):
        return gutter, gutter
    indices = ndimage.distance_transform_edt(~covered, return_distances=False, return_indices=True)
    rows, columns = (np.asarray(part).reshape(-1)[gutter] for part in indices)
    return gutter, rows * np.int32(len(covered)) + columns


def _border(raster: Raster, gutter: Indices, behind: Indices, number: Indices) -> tuple[Indices, Singles]:
    """The texels close to covered ones, rising, and their weights (b, 3): they go on as they change in the triangle."""
    size = raster.size
    down = gutter // size - behind // size
    across = gutter % size - behind % size
    near = across * across + down * down <= BORDER * BORDER
    border = number[gutter[near]]
    slopes = raster.slopes[raster.triangles[border]]
    change = slopes[:, :, 0] * across[near, None] + slopes[:, :, 1] * down[near, None]
    weights = raster.weights_at(border) + np.concatenate([-change.sum(axis=1, keepdims=True), change], axis=1)
    trusted = (np.abs(weights - 0.5) <= 0.5 + FURTHEST).all(axis=1)
    return gutter[near][trusted], weights[trusted].astype(np.float32)


def _of_vertices(reach: NDArray[np.uint64], corners: Integers, vertices: int) -> NDArray[np.uint64]:
    """Each vertex's bits (v,), from those (t,) of the triangles with corners (t, 3)."""
    found = np.zeros(vertices, dtype=np.uint64)
    for corner in range(3):
        np.bitwise_or.at(found, corners[:, corner], reach)
    return found


def _matrix(weights: Singles, corners: Indices, vertices: int) -> Matrix:
    """Rows of three corners' weights."""
    starts = np.arange(0, weights.size + 1, 3, dtype=np.int32)
    return sparse.csr_array((weights.reshape(-1), corners.reshape(-1), starts), shape=(len(weights), vertices))
