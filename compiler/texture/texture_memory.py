"""What textures take in memory."""

from __future__ import annotations

from typing import Final

BYTES_OF_TEXEL: Final = {1: 1, 3: 4, 4: 4}
"""Bytes of a texel by channels: hardware pads three to four (common practice, no source)."""


def texels_with_levels(size: int) -> int:
    """The texels of a square texture with all its mip levels: (4 base - last) / 3, the sum of a geometric series.

    `size` is a power of two. 1024 gives 1,398,101.
    """
    return (4 * size * size - 1) // 3


def bytes_in_memory(size: int, channels: int) -> int:
    """The bytes that a texture of 8 bit channels (1, 3 or 4) takes with all its mip levels."""
    return texels_with_levels(size) * BYTES_OF_TEXEL[channels]


def stored_channels(masks: int) -> int:
    """How many channels a texture of so many masks (1 to 4) has: two masks take three, as PNG has no two colours."""
    return {1: 1, 2: 3, 3: 3, 4: 4}[masks]
