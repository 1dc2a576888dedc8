"""Where the mask of each fold is found once masks are packed into textures."""

from __future__ import annotations

from typing import Literal, NamedTuple, get_args

Channel = Literal["red", "green", "blue", "alpha"]
CHANNELS: tuple[Channel, ...] = get_args(Channel)
"""The channels in the order in which a file stores them; a file of one channel has red."""


class MaskPlace(NamedTuple):
    """A fold's mask: the texture file, relative to the output folder, and the channel in it.

    `uv` is the set of texture coordinates that the mask is over; None: that of the fold's detail.
    """

    file: str
    channel: Channel
    uv: str | None = None
