"""Weights from a painted image, sampled where a mesh's texture coordinates point.

A mask is data, so its values are taken as they are stored, without any transfer curve: 0 is outside, the
largest value inside. Colour counts by its luma, 0.2126 R + 0.7152 G + 0.0722 B (ITU-R BT.709). Where an image
has an alpha channel the value is multiplied by it, so what is transparent is outside, whatever colour hides
there.

A texel's value stands at its middle and is mixed linearly with its neighbours'. Beyond the outermost middles
the border texels go on, so nothing bleeds in from the opposite border. Coordinates outside 0..1 repeat the
image, as glTF 2.0's default sampler does (section 5.26); v runs down.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from typing import Final

import numpy as np
from PIL import Image
from PIL.Image import DecompressionBombError, DecompressionBombWarning

from plica.mesh.arrays import Floats, Integers

LUMA: Final = (0.2126, 0.7152, 0.0722)
FORMATS: Final = ("PNG", "TIFF", "JPEG", "TGA", "BMP", "WEBP")  # Pillow knows more, and runs programs for some
_SIXTEEN_BITS: Final = ("I", "I;16", "I;16B", "I;16L", "I;16N")


class PaintingError(ValueError):
    """The image cannot be used; the text says why."""


@dataclass(frozen=True, eq=False)
class Painting:
    """Values (rows, columns) from 0 to 1, the first row on top; whether the image held colour, or transparent
    texels.
    """

    values: Floats
    in_colour: bool = False
    transparent: bool = False


def read_painting(data: bytes) -> Painting:
    """An image file of one of `FORMATS` (8 or 16 bit greyscale; what is in colour or has alpha counts as
    above).

    Raises PaintingError.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=FORMATS) as image:
                image.load()
                return _painting(image)
    except (DecompressionBombError, DecompressionBombWarning):
        raise PaintingError("it is too large") from None
    except PaintingError:
        raise
    except Exception as error:  # Pillow's decoders answer damaged files with errors of any kind
        raise PaintingError(f"it is no image, or a damaged one ({type(error).__name__})") from None


def _painting(image: Image.Image) -> Painting:
    if image.mode in _SIXTEEN_BITS:
        values = np.asarray(image, dtype=np.float64) / 65535.0
        if values.size and not 0.0 <= values.min() <= values.max() <= 1.0:
            raise PaintingError("its values have more than 16 bits")
        return Painting(values)
    if image.mode == "F":
        values = np.asarray(image, dtype=np.float64)
        if not np.isfinite(values).all():
            raise PaintingError("it holds values that are no numbers")
        return Painting(np.clip(values, 0.0, 1.0))
    if image.mode in ("1", "L") and "transparency" not in image.info:
        return Painting(np.asarray(image.convert("L"), dtype=np.float64) / 255.0)
    channels = np.asarray(image.convert("RGBA"), dtype=np.float64) / 255.0
    alpha = channels[..., 3]
    colour = np.ptp(channels[..., :3], axis=2)
    # Where all three are equal the luma is that value, without the rounding of a sum.
    grey = np.where(colour == 0.0, channels[..., 0], channels[..., :3] @ np.array(LUMA))
    visible = alpha > 0.0
    return Painting(grey * alpha, bool((colour[visible] > 0.0).any()), bool((alpha < 1.0).any()))


def outside(uv: Floats) -> int:
    """How many coordinates (n, 2) lie outside 0..1; those that are no numbers do not count."""
    return int(((uv < 0.0) | (uv > 1.0)).any(axis=1).sum())


def sampled(painting: Painting, uv: Floats) -> Floats:
    """The painting's values (n,) at texture coordinates (n, 2), which must be finite."""
    inside = (uv >= 0.0) & (uv <= 1.0)
    within = np.where(inside, uv, uv - np.floor(uv))
    rows, columns = painting.values.shape
    left, right, across = _neighbours(within[:, 0], columns)
    upper, lower, down = _neighbours(within[:, 1], rows)
    top = _mixed(painting.values[upper, left], painting.values[upper, right], across)
    bottom = _mixed(painting.values[lower, left], painting.values[lower, right], across)
    return _mixed(top, bottom, down)


def _neighbours(coordinates: Floats, size: int) -> tuple[Integers, Integers, Floats]:
    """The texels before and after each coordinate, and how far it is from one to the other."""
    place = np.clip(coordinates * size - 0.5, 0.0, size - 1.0)
    before = np.floor(place).astype(np.int64)
    return before, np.minimum(before + 1, size - 1), place - before


def _mixed(one: Floats, other: Floats, share: Floats) -> Floats:
    # Equal values stay what they are; the sum of two products would round.
    return np.where(one == other, one, one * (1.0 - share) + other * share)
