"""Where the mask of each fold is found once masks are packed into textures."""

from __future__ import annotations

from typing import NamedTuple


class MaskPlace(NamedTuple):
    """A fold's mask: the texture file, relative to the output folder, and its channel (0 red, 1 green, 2 blue, 3 alpha)."""

    file: str
    channel: int
