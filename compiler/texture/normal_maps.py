"""Tangent-space normal maps: reading them as they are stored, decoding, sampling and writing.

A texel stores a vector as glTF 2.0 says for normal textures (section 3.9.3): each channel's 0..1 means -1..1, red along
the tangent, green along the bitangent and up, blue out of the skin. It is data, so no transfer curve and no colour
profile is applied, whatever the file claims.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.Image import DecompressionBombError, DecompressionBombWarning

from plica.mesh.arrays import Floats, Integers
from plica.mesh.painting import FORMATS
from plica.texture.png import Bytes, in_bytes

FLAT: Final = np.array((0.0, 0.0, 1.0))
"""The normal of skin without detail."""
_COLOUR: Final = ("RGB", "RGBA", "RGBX", "P", "PA")
_OTHER_BYTE: Final = {"RGB;16B": "RGB;16L", "RGBA;16B": "RGBA;16L"}


class NormalMapError(ValueError):
    """The image cannot be used; the text says why."""


@dataclass(frozen=True, eq=False)
class NormalMap:
    """Stored values (rows, columns, 3), the first row on top, of `bits` 8 or 16 (numpy uint8 or uint16)."""

    stored: NDArray[np.uint8] | NDArray[np.uint16]
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
    """An image file of one of `plica.mesh.painting.FORMATS`, in colour; 16 bits to a channel only as PNG.

    Transparency is left aside, and no colour conversion takes place. Raises NormalMapError.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DecompressionBombWarning)
            return _normal_map(data)
    except (DecompressionBombError, DecompressionBombWarning):
        raise NormalMapError("it is too large") from None
    except NormalMapError:
        raise
    except Exception as error:  # Pillow's decoders answer damaged files with errors of any kind
        raise NormalMapError(f"it is no image, or a damaged one ({type(error).__name__})") from None


def _normal_map(data: bytes) -> NormalMap:
    with Image.open(io.BytesIO(data), formats=FORMATS) as image:
        if image.mode not in _COLOUR:
            raise NormalMapError("it is not in colour, and a normal map needs red, green and blue")
        raw_mode = _raw_mode(image)
        if ";16" in raw_mode and raw_mode not in _OTHER_BYTE:
            raise NormalMapError("it has 16 bits to a channel in a form that is not read: save it as PNG")
        high = np.asarray(image.convert("RGB"))
    if raw_mode not in _OTHER_BYTE:
        return NormalMap(high, 8)
    return NormalMap(high.astype(np.uint16) * np.uint16(256) + _low_bytes(data, raw_mode), 16)


def _raw_mode(image: Image.Image) -> str:
    """How the file stores a texel, in Pillow's words (`RGB;16B`)."""
    tiles = getattr(image, "tile", ())
    arguments = tiles[0].args if tiles else ""
    first = arguments[0] if isinstance(arguments, tuple) and arguments else arguments
    return first if isinstance(first, str) else ""


def _low_bytes(data: bytes, raw_mode: str) -> NDArray[np.uint16]:
    """The low bytes of a PNG of 16 bits to a channel.

    Pillow keeps 8 bits of colour: of two bytes the first, or the second if told that the order is the other way.
    """
    with Image.open(io.BytesIO(data), formats=("PNG",)) as image:
        tile = image.tile
        image.tile = [part._replace(args=_OTHER_BYTE[raw_mode]) for part in tile]
        return np.asarray(image.convert("RGB")).astype(np.uint16)


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

Stored = Floats | NDArray[np.uint8] | NDArray[np.uint16]


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
