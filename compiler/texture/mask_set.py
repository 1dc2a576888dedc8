"""A character's masks: what each is, and the textures that they are packed into."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Final, NamedTuple

from plica.mesh.arrays import Integers
from plica.rig.surfaces import DirectionMapPlace, Fold, MaskPlace
from plica.texture.channels import CHANNELS
from plica.texture.mask_sizes import Sized
from plica.texture.texture_memory import bytes_in_memory, stored_channels

SIZES: Final = tuple(2**power for power in range(2, 14))
"""The sizes that textures may have."""


class MaskOptions(NamedTuple):
    """`size`: texels across of the full-size masks, one of `SIZES`; `channels`: masks that a texture holds, 1 to 4."""

    size: int = 1024
    channels: int = 4


@dataclass(frozen=True, eq=False)
class Mask:
    """The mask of one fold in its sizes, over the uv set `uv`; `mirrored`: made as mirror image of the other side's."""

    fold: Fold
    uv: str
    sized: Sized
    mirrored: bool = False

    @property
    def size(self) -> int:
        """The smallest size that keeps the fold's tolerance."""
        return self.sized.smallest(self.fold.tolerance)


class Placed(NamedTuple):
    """Where a fold's mask stands: the number of its texture in the set, and the channel, 0 for red."""

    texture: int
    channel: int


@dataclass(frozen=True)
class Texture:
    """A packed texture: its file's name and content, texels across, stored channels, and the folds in them."""

    file: str
    detail: str
    uv: str
    size: int
    channels: int
    folds: tuple[str, ...]
    content: bytes

    @property
    def memory(self) -> int:
        """Bytes in memory with all mip levels."""
        return bytes_in_memory(self.size, self.channels)


@dataclass(frozen=True)
class DirectionMap:
    """The directions of one fold's area: the file's name and content, its uv set and texels across."""

    fold: str
    file: str
    uv: str
    size: int
    content: bytes

    @property
    def memory(self) -> int:
        """Bytes in memory with all mip levels."""
        return bytes_in_memory(self.size, stored_channels(2))

    @property
    def place(self) -> DirectionMapPlace:
        """The file, as a rig names it."""
        return DirectionMapPlace(self.file, sha256(self.content).hexdigest(), self.uv)


@dataclass(frozen=True, eq=False)
class MaskSet:
    """All masks of a character by fold, in the order of the rig, where each stands, and the textures.

    vertices (n,): the vertex nearest to each of the measured points of the skin. directions: a map for each fold whose
    area has directions.
    """

    masks: Mapping[str, Mask]
    placed: Mapping[str, Placed]
    textures: tuple[Texture, ...]
    vertices: Integers
    directions: tuple[DirectionMap, ...] = ()

    @property
    def places(self) -> dict[str, MaskPlace]:
        """The texture file and the channel of each fold."""
        return {
            fold: MaskPlace(self.textures[place.texture].file, CHANNELS[place.channel], self.masks[fold].uv)
            for fold, place in self.placed.items()
        }
