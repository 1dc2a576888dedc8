"""What texels take their values from: patches, over each of which values change evenly across and down.

Each triangle is a patch, which goes on beyond its edges into the border of an island. Texels that lie elsewhere than
the skin whose value they have take it from patches apart: those of triangles that go on at the other side of the
texture, and those of the gutter farther out, whose patches are even.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseFloats
from plica.texture.raster import Indices, Number, Singles, TexelRaster

TILES: Final = 8
"""A texture is cut into so many tiles across and down: 64, as many as a whole number has bits."""


@dataclass(frozen=True, eq=False)
class PatchPoints:
    """TexelPatches apart from triangles: the triangle (n,) and the weights (n, 3) of its corners that each has at the
    middle of a texel (n,); `slopes` (n, 2, 2) as those of a raster, 0 where the patch is even.
    """

    triangles: Indices
    weights: Floats
    texels: Integers
    slopes: Floats


@dataclass(frozen=True, eq=False)
class TexelPatches:
    """The patches of a texture.

    texels (size, size): the patch of each; planes (3 p, v): from values of the vertices to each patch's value in the
    texture's first texel, then to its change from a texel to the next on the right, then to that below; reach (v,): the
    tiles in which each vertex has a say, a bit for each.
    """

    texels: Indices
    planes: SparseFloats
    reach: NDArray[np.uint64]

    def image(self, values: Floats) -> Singles:
        """Values (v,) of the vertices mixed in every texel (size, size), cut off at 0 and 1.

        They can exceed these where they go on beyond edges. Tiles that only 0 reaches are not looked at.
        """
        touched = int(np.bitwise_or.reduce(self.reach[values != 0.0], initial=0))
        result = np.zeros(self.texels.shape, np.float32)
        wanted = [number for number in range(len(self._tiles)) if touched >> number & 1]
        parts = tiled(result)
        for number, tile in zip(wanted, self._mixed(values, wanted), strict=True):
            np.clip(tile, 0.0, 1.0, out=parts[number], casting="same_kind")
        return result

    def mixed(self, values: Floats) -> Floats:
        """Values (v,) of the vertices mixed in every texel (size, size)."""
        result = np.empty(self.texels.shape)
        for part, tile in zip(tiled(result), self._mixed(values, range(len(self._tiles))), strict=True):
            part[:] = tile
        return result

    def _mixed(self, values: Floats, wanted: Iterable[int]) -> Iterator[Floats]:
        """The tiles with these numbers, one after the other in the same memory."""
        first, right, down = np.asarray(self.planes @ values).reshape(3, -1)
        count, shape = min(TILES, len(self.texels)), self._tiles[0].shape
        patches, result, change = np.empty(shape, np.int64), np.empty(shape), np.empty(shape)
        line = np.arange(shape[0], dtype=np.float64)
        for number in wanted:
            row, column = divmod(number, count)
            patches[:] = self._tiles[number]  # here instead of in each `take`
            # Numbers of patches are known to be in range; not looking at that halves the time.
            right.take(patches, out=result, mode="clip")
            result *= line + column * shape[0]
            down.take(patches, out=change, mode="clip")
            change *= (line + row * shape[0])[:, None]
            result += change
            first.take(patches, out=change, mode="clip")
            result += change
            yield result

    @cached_property
    def _tiles(self) -> list[Indices]:
        return tiled(self.texels)


def patches_of(raster: TexelRaster, texels: Indices, points: PatchPoints, vertices: int) -> TexelPatches:
    """The patches of the triangles of a raster, in their order, and of points, which follow.

    `texels` (size, size) has the patch of each texel.
    """
    slopes = _of_corners(np.concatenate([raster.slopes, points.slopes]))
    origins = np.concatenate([raster.origins, np.stack([points.texels % raster.size, points.texels // raster.size], 1)])
    at_origin = np.concatenate([np.tile((1.0, 0.0, 0.0), (len(raster.corners), 1)), points.weights])
    first = at_origin - slopes[0] * origins[:, :1] - slopes[1] * origins[:, 1:]
    corners = np.concatenate([raster.corners, raster.corners[points.triangles]]).astype(np.int32)
    weights = np.concatenate([first, *slopes])
    starts = np.arange(0, weights.size + 1, 3, dtype=np.int32)
    planes = sparse.csr_array(
        (weights.reshape(-1), np.tile(corners.reshape(-1), 3), starts), shape=(len(weights), vertices)
    )
    return TexelPatches(texels, planes, _reach(texels, corners, vertices))


def tiled(image: NDArray[Number]) -> list[NDArray[Number]]:
    """The tiles of an image (size, size), row by row; views, so what is written to them is written to it."""
    side = len(image) // min(TILES, len(image))
    starts = range(0, len(image), side)
    return [image[row : row + side, column : column + side] for row in starts for column in starts]


def _of_corners(slopes: Floats) -> Floats:
    """How the weights of all three corners change to the right and downward (2, n, 3), from those of the last two."""
    result = np.empty((2, len(slopes), 3))
    result[:, :, 1:] = slopes.transpose(2, 0, 1)
    result[:, :, 0] = -result[:, :, 1] - result[:, :, 2]
    return result


def _reach(texels: Indices, corners: Indices, vertices: int) -> NDArray[np.uint64]:
    """The tiles that each vertex has a say in, a bit for each, for patches with corners (p, 3)."""
    seen = np.zeros((TILES * TILES, len(corners)), dtype=np.bool_)
    for row, part in zip(seen, tiled(texels), strict=False):
        row[part.astype(np.int64)] = True
    bits = np.packbits(seen, axis=0, bitorder="little")
    of_patches = np.ascontiguousarray(bits.T).view("<u8").reshape(-1).astype(np.uint64)
    result = np.zeros(vertices, dtype=np.uint64)
    for corner in corners.T:
        np.bitwise_or.at(result, corner, of_patches)
    return result
