"""Linear lookups of textures at many places of the skin, of those places alone that see anything.

Most masks are black nearly everywhere, and where a texture is black a lookup is 0. So places are sorted into tiles of
the texture, and only those are looked at that lie in, or right beside, a tile with something in it: memory and time are
those of the mask, not those of the skin.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseSingles
from plica.texture.raster import Flags, Indices, Singles

TILES: Final = 64
"""Tiles across and down, a power of two."""
AT_ONCE: Final = 1 << 17
"""Places that are worked on at once."""


class SkinLookups:
    """Lookups at texture coordinates (n, 2), in textures of any size that is a power of two."""

    def __init__(self, points: Floats) -> None:
        self.points = points
        known = np.asarray(np.isfinite(points).all(axis=1))
        cells = np.minimum(_within(points, known) * TILES, TILES - 1.0).astype(np.uint16)
        tile = np.where(known, cells[:, 1] * np.uint16(TILES) + cells[:, 0], np.uint16(TILES * TILES))
        self._order = np.argsort(tile, kind="stable").astype(np.int32)
        self._starts = np.searchsorted(tile[self._order], np.arange(TILES * TILES + 1))

    @property
    def count(self) -> int:
        """How many places there are."""
        return len(self.points)

    def seeing(self, *textures: NDArray[np.generic]) -> Integers:
        """The places, rising, whose lookups in one of these textures (size, size) can be anything but 0: all of them,
        and some others."""
        tiles = np.zeros((TILES, TILES), np.bool_)
        for texture in textures:
            tiles |= _tiles(texture != 0)
        numbers = np.flatnonzero(tiles)
        if not len(numbers):
            return np.zeros(0, np.int64)
        held = [self._order[self._starts[number] : self._starts[number + 1]] for number in numbers]
        return np.sort(np.concatenate(held)).astype(np.int64)

    def at(self, which: Integers, texture: Singles) -> Singles:
        """What some of the places see (m,) of a texture (size, size)."""
        size, flat = len(texture), texture.reshape(-1)
        result = np.empty(len(which), np.float32)
        for start in range(0, len(which), AT_ONCE):
            part = slice(start, start + AT_ONCE)
            texels, weights = _weighed(self.points[which[part]], size)
            seen = weights * flat[texels]
            # From the first on, as a sparse matrix adds up
            result[part] = ((seen[:, 0] + seen[:, 1]) + seen[:, 2]) + seen[:, 3]
        return result

    def matrix(self, which: Integers, size: int) -> SparseSingles:
        """The weights (m, size * size) of the texels in the lookups at some of the places."""
        return lookups(self.points[which], size)


def lookups(points: Floats, size: int) -> SparseSingles:
    """The weights (n, size * size) of the texels in linear lookups at texture coordinates (n, 2).

    Middles of texels stand at half steps. Within 0..1 the outermost texels go on to the border; beyond, the texture
    repeats. Where coordinates are not finite nothing has any weight.
    """
    texels, weights = np.empty((len(points), 4), np.int32), np.empty((len(points), 4), np.float32)
    for start in range(0, len(points), AT_ONCE):
        part = slice(start, start + AT_ONCE)
        texels[part], weights[part] = _weighed(points[part], size)
    starts = np.arange(0, weights.size + 1, 4, dtype=np.int32)
    return sparse.csr_array((weights.reshape(-1), texels.reshape(-1), starts), shape=(len(points), size * size))


def _weighed(points: Floats, size: int) -> tuple[Indices, Singles]:
    """The four texels (n, 4) of each lookup and their weights."""
    known = np.asarray(np.isfinite(points).all(axis=1))
    place = np.clip(_within(points, known) * size - 0.5, 0.0, size - 1.0)
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
    return texels, weights


def _within(points: Floats, known: Flags) -> Floats:
    """Coordinates (n, 2) brought into the texture, 0 where they are not known."""
    points = np.where(known[:, None], points, 0.0)
    return np.where((points >= 0.0) & (points <= 1.0), points, points - np.floor(points))


def _tiles(texels: Flags) -> Flags:
    """The tiles (TILES, TILES) from which a lookup can see one of the texels (size, size) that are true."""
    reached = texels.copy()
    reached[1:] |= texels[:-1]
    reached[:-1] |= texels[1:]
    across = reached.copy()
    across[:, 1:] |= reached[:, :-1]
    across[:, :-1] |= reached[:, 1:]
    size = len(texels)
    if size <= TILES:
        return np.repeat(np.repeat(across, TILES // size, axis=0), TILES // size, axis=1)
    side = size // TILES
    return np.asarray(across.reshape(TILES, side, TILES, side).any(axis=(1, 3)))
