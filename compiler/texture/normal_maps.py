"""Tangent-space normal maps: reading them as they are stored, decoding, sampling and writing.

A texel stores a vector as glTF 2.0 says for normal textures (section 3.9.3): each channel's 0..1 means -1..1, red along
the tangent, green along the bitangent and up, blue out of the skin. It is data, so no transfer curve and no colour
profile is applied, whatever the file claims.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Integers
from plica.mesh.images import TEXELS_AT_ONCE, Banded, ImageError, Texels
from plica.texture.png import Bytes, in_bytes

FLAT: Final = np.array((0.0, 0.0, 1.0))
"""The normal of skin without detail."""
_COLOUR: Final = ("RGB", "RGBA", "RGBX", "P", "PA")


@dataclass(frozen=True, eq=False)
class NormalMap:
    """Stored values (rows, columns, 3), the first row on top, of `bits` 8 or 16 (numpy uint8 or uint16)."""

    stored: NDArray[np.uint8] | NDArray[np.uint16] | Banded
    bits: int

    @property
    def size(self) -> tuple[int, int]:
        """Columns and rows."""
        return self.stored.shape[1], self.stored.shape[0]

    @property
    def largest(self) -> float:
        """The stored value that means 1."""
        return float(2**self.bits - 1)


def read_normal_map(data: bytes) -> NormalMap:
    """An image file of one of `plica.mesh.images.FORMATS`, in colour.

    Transparency is left aside, and no colour conversion takes place. Raises ImageError.
    """
    texels = Texels.of(data)
    if texels.high.mode not in _COLOUR:
        raise ImageError("it is not in colour, and a normal map needs red, green and blue")

    def rows(first: int, last: int) -> NDArray[Any]:
        return texels.rows(first, last)[..., :3]

    return NormalMap(Banded((*texels.size, 3), texels.nbytes, rows), 8 if texels.largest == 255 else 16)


def alike(one: NormalMap, other: NormalMap) -> bool:
    """Whether two maps of the same size hold the same values."""
    if one.bits != other.bits:
        return False
    step = max(1, TEXELS_AT_ONCE // one.size[0])
    return all(
        np.array_equal(one.stored[first : first + step], other.stored[first : first + step])
        for first in range(0, one.size[1], step)
    )


# ---- vectors ------------------------------------------------------------------------------------------


def decoded(values: Floats) -> Floats:
    """The vectors (..., 3) of values from 0 to 1, not yet of unit length (glTF 2.0, section 3.9.3)."""
    return values * 2.0 - 1.0


def unit(vectors: Floats) -> Floats:
    """Vectors (..., 3) at unit length; the null vector becomes the flat normal."""
    length = np.sqrt(np.einsum("...i,...i->...", vectors, vectors))[..., None]
    return np.where(length > 0.0, vectors / np.where(length > 0.0, length, 1.0), FLAT)


def encoded(components: Floats) -> Bytes:
    """Components of normals, -1 to 1, as 8-bit values."""
    return in_bytes((components * 0.5 + 0.5).astype(np.float32))


# ---- sampling -----------------------------------------------------------------------------------------

Stored = Floats | NDArray[np.uint8] | NDArray[np.uint16] | Banded


def sampled(values: Stored, uv: Floats) -> Floats:
    """Values (n, ...) of an image (rows, columns, ...) at texture coordinates (n, 2), v down.

    Linear between the four nearest texel middles, repeating at the borders: glTF 2.0's default sampler
    (section 5.26) and the defaults of MaterialX's `image` node.
    """
    left, right, across = _neighbours(uv[:, 0], values.shape[1])
    upper, lower, down = _neighbours(uv[:, 1], values.shape[0])
    across, down = _spread(across, values.ndim - 1), _spread(down, values.ndim - 1)
    above = values[upper, left] * (1.0 - across) + values[upper, right] * across
    below = values[lower, left] * (1.0 - across) + values[lower, right] * across
    result: Floats = above * (1.0 - down) + below * down
    return result


def sampled_on_grid(values: Stored, u: Floats, v: Floats) -> Floats:
    """Values (m, n, ...) of an image at all pairs of coordinates v (m,) and u (n,), sampled as by `sampled`."""
    left, right, across = _neighbours(u, values.shape[1])
    upper, lower, down = _neighbours(v, values.shape[0])
    down, across = _spread(down, values.ndim), _spread(across, values.ndim - 1)
    rows = values[upper] * (1.0 - down) + values[lower] * down
    result: Floats = rows[:, left] * (1.0 - across) + rows[:, right] * across
    return result


def _neighbours(coordinates: Floats, size: int) -> tuple[Integers, Integers, Floats]:
    """The texels before and after each coordinate, and how far it is from one to the other."""
    places = coordinates * size - 0.5
    before = np.floor(places)
    first = before.astype(np.int64)
    return first % size, (first + 1) % size, places - before


def _spread(values: Floats, dimensions: int) -> Floats:
    """Values (n,) as an array of so many dimensions that goes along the first."""
    return values.reshape(-1, *(1,) * (dimensions - 1))
