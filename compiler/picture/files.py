"""Pictures as files: still ones, and those that move."""

from __future__ import annotations

import io
import zlib
from collections.abc import Sequence
from types import MappingProxyType
from typing import Final

import numpy as np
from PIL import Image

from plica.picture.colors import shown
from plica.picture.directions import Singles

FORMS: Final = MappingProxyType({".png": "PNG", ".webp": "WEBP"})
"""By ending; several frames in a PNG are APNG (PNG, third edition, W3C 2025)."""
_COMPRESSION: Final = MappingProxyType({"compress_level": 4, "compress_type": zlib.Z_RLE})
"""Of PNG: files a tenth larger than the smallest, in less than half of the time."""


def image_of(light: Singles) -> Image.Image:
    """The picture of linear light (h, w, 3)."""
    return Image.fromarray(np.rint(shown(light) * 255.0).astype(np.uint8))


def content_of(frames: Sequence[Image.Image], ending: str, milliseconds: int = 0) -> bytes:
    """A file of one picture, or of several that are shown one after the other for so long each, again and again."""
    content = io.BytesIO()
    more: dict[str, object] = dict(_COMPRESSION) if ending == ".png" else {"quality": 82, "method": 4}
    if len(frames) > 1:
        more |= {"save_all": True, "append_images": list(frames[1:]), "duration": milliseconds, "loop": 0}
    frames[0].save(content, FORMS[ending], **more)
    return content.getvalue()
