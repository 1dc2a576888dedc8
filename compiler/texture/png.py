"""Masks as PNG files: 8 bits, linear, without any chunk that speaks of colour.

A mask is data. Rounding is that of PNG, third edition (W3C 2025), section 13.12: floor(value * 255 + 0.5). Only the
chunks IHDR, IDAT and IEND are written: no gAMA, sRGB, cICP, iCCP or cHRM, so no reader has a reason to change
values, and no tIME or text, so the same mask has the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from plica.texture.raster import Singles

Bytes = NDArray[np.uint8]

_MODES = {1: "L", 3: "RGB", 4: "RGBA"}


def in_bytes(values: Singles) -> Bytes:
    """Values from 0 to 1 as the nearest of 256 steps, halves up."""
    return np.asarray(np.floor(values * np.float32(255.0) + np.float32(0.5)).astype(np.uint8))


def png(channels: Sequence[Bytes], count: int) -> bytes:
    """A PNG file of `count` (1, 3 or 4) channels (size, size), row 0 on top; channels that are not given are 0."""
    size = channels[0].shape
    planes = [*channels, *[np.zeros(size, np.uint8)] * (count - len(channels))]
    pixels = planes[0] if count == 1 else np.ascontiguousarray(np.stack(planes, axis=-1))
    content = io.BytesIO()
    Image.frombytes(_MODES[count], size[::-1], pixels.tobytes()).save(content, "PNG", compress_level=9)
    return content.getvalue()
