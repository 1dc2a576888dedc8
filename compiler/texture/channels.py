"""The channels of textures that masks are packed into."""

from __future__ import annotations

from typing import Literal, get_args

Channel = Literal["red", "green", "blue", "alpha"]
CHANNELS: tuple[Channel, ...] = get_args(Channel)
"""The channels in the order in which a file stores them; a file of one channel has red."""
