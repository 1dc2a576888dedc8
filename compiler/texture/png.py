"""Masks as PNG files: 8 bits, linear, without any chunk that speaks of colour.

A mask is data. Rounding is that of PNG, third edition (W3C 2025), section 13.12: floor(value * 255 + 0.5). Only the
chunks IHDR, IDAT and IEND are written, and, in the outputs of a build, one tEXt chunk with its id: no gAMA, sRGB, cICP,
iCCP or cHRM, so no reader has a reason to change values, and no tIME, so the same mask has the same bytes.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from plica.texture.raster import Singles

Bytes = NDArray[np.uint8]
BUILD_KEYWORD: Final = "Plica build"
"""The keyword of the text chunk that holds the id of the build that a texture belongs to."""
_END_OF_HEAD: Final = 8 + 25  # the signature and the chunk IHDR, which comes first

_MODES = {1: "L", 3: "RGB", 4: "RGBA"}


def in_bytes(values: Singles) -> Bytes:
    """Values from 0 to 1 as the nearest of 256 steps, halves up."""
    return np.asarray(np.floor(values * np.float32(255.0) + np.float32(0.5)).astype(np.uint8))


def png(channels: Sequence[Bytes], count: int) -> bytes:
    """A PNG file of `count` (1, 3 or 4) channels (size, size), row 0 on top; channels that are not given are 0."""
    size = channels[0].shape
    planes = [*channels, *[np.zeros(size, np.uint8)] * (count - len(channels))]
    pixels = planes[0] if count == 1 else np.ascontiguousarray(np.stack(planes, axis=-1))
    return _saved(Image.frombytes(_MODES[count], size[::-1], pixels.tobytes()))


def png_in_colour(bands: Iterable[Bytes], size: tuple[int, int]) -> bytes:
    """A PNG file of red, green and blue: bands (rows, columns, 3) from top to bottom of an image of `size` (columns,
    rows).
    """
    image, first = Image.new("RGB", size), 0
    for band in bands:
        image.paste(Image.fromarray(band), (0, first))
        first += len(band)
    return _saved(image)


def _saved(image: Image.Image) -> bytes:
    content = io.BytesIO()
    image.save(content, "PNG", compress_level=9)
    return content.getvalue()


def with_build(content: bytes, build: str | None) -> bytes:
    """A PNG file with the id of its build in a tEXt chunk (PNG, third edition, section 11.3.3.2) after its head."""
    if build is None:
        return content
    chunk = b"tEXt" + BUILD_KEYWORD.encode("latin-1") + b"\0" + build.encode("latin-1")
    framed = struct.pack(">I", len(chunk) - 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
    return content[:_END_OF_HEAD] + framed + content[_END_OF_HEAD:]
