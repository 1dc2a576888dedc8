"""A detail's normal maps and its folds' masks as pictures of a page.

Of the maps only the directions across the skin are kept (the third part follows from unit length), both maps as four
grey quarters of one picture: the relaxed map's x and y, below them the contracted map's.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import partial
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from plica.mesh.images import ImageError
from plica.mesh.region_sources import Read
from plica.rig.rig import Rig
from plica.rig.surfaces import Detail
from plica.sheet.array_pack import ArrayPack
from plica.sheet.kept import Kept
from plica.texture.mask_set import MaskSet
from plica.texture.normal_maps import NormalMap, read_normal_map
from plica.workspace import Refused

LARGEST: Final = 1024
"""Texels across of a map in the page; larger ones are halved until they fit."""
MOST_TEXTURES: Final = 8
"""Mask textures that the page shows of all details: what every card can read at once beside the others."""
MOST_DETAILS: Final = 4
"""Details that the page shows one over the other."""
_QUALITY: Final = 85
_EFFORT: Final = 2
"""Of WebP, 0 to 6: a fiftieth larger than with twice the time."""


class FoldSlot(NamedTuple):
    """A fold's mask: the texture, by its number among those of the detail, and the channel, 0 for red."""

    fold: str
    texture: int
    channel: int


class DetailLayout(NamedTuple):
    """A detail as the page shows it.

    pictures: the files of the pack with the maps (None: they cannot be shown) and with the masks; uv: the sets, by
    number among those of the skin, that maps and masks are over; folds: those of which the page shows the mask.
    """

    name: str
    mixing: str
    maps: str | None
    uv: int
    textures: tuple[str, ...]
    masks_uv: int
    folds: tuple[FoldSlot, ...]


class SpecFiles(NamedTuple):
    """The files that a spec names. version: a text that is another one after a file has changed."""

    read: Read
    version: Callable[[str], str] = lambda file: ""


def pack_details(
    rig: Rig, masks: MaskSet | None, uv_sets: list[str], files: SpecFiles, pack: ArrayPack, kept: Kept
) -> tuple[DetailLayout, ...]:
    """Add the pictures of every detail to a pack. `uv_sets`: the mesh's, by number."""
    if not uv_sets:
        return ()
    layouts: list[DetailLayout] = []
    for number, detail in enumerate(rig.details[:MOST_DETAILS]):
        made_of = [(file, files.version(file)) for file in (detail.relaxed, detail.contracted)]
        maps = kept.recall(f"maps {number}", made_of, partial(_quarters, detail, files.read))
        room = MOST_TEXTURES - sum(len(one.textures) for one in layouts)
        layouts.append(_packed(detail, number, rig, masks, uv_sets, maps, pack, room))
    return tuple(layouts)


def _packed(
    detail: Detail,
    number: int,
    rig: Rig,
    masks: MaskSet | None,
    uv_sets: list[str],
    maps: bytes | None,
    pack: ArrayPack,
    room: int,
) -> DetailLayout:
    own = [] if masks is None else [texture for texture in masks.textures if texture.detail == detail.name]
    layouts = [texture.uv for texture in own]
    shown = [texture for texture in own if texture.uv == layouts[0]][:room]
    slots, names = [], []
    for place, texture in enumerate(shown):
        names.append(f"masks {number} {place}")
        pack.add_file(names[-1], texture.content, "image/png")
        slots += [FoldSlot(fold, place, channel) for channel, fold in enumerate(texture.folds)]
    if maps is not None:
        pack.add_file(f"maps {number}", maps, "image/webp")
    return DetailLayout(
        detail.name,
        detail.mixing,
        None if maps is None else f"maps {number}",
        uv_sets.index(detail.uv) if detail.uv in uv_sets else 0,
        tuple(names),
        uv_sets.index(layouts[0]) if layouts and layouts[0] in uv_sets else 0,
        tuple(slots),
    )


def _quarters(detail: Detail, read: Read) -> bytes | None:
    """Both maps in one picture; None where one of them cannot be read, which the build's own diagnostics tell."""
    maps = [_read(file, read) for file in (detail.relaxed, detail.contracted)]
    if any(one is None for one in maps):
        return None
    size = min(LARGEST, 1 << max(max(one.size) for one in maps if one is not None).bit_length() - 1)
    grey = [_across(one, size) for one in maps if one is not None]
    content = io.BytesIO()
    rows = [np.hstack([part[..., 0], part[..., 1]]) for part in grey]
    Image.fromarray(np.vstack(rows)).convert("RGB").save(content, "WEBP", quality=_QUALITY, method=_EFFORT)
    return content.getvalue()


def _read(file: str, read: Read) -> NormalMap | None:
    content = read(file)
    if isinstance(content, Refused):
        return None
    try:
        return read_normal_map(content)
    except ImageError:
        return None


def _across(one: NormalMap, size: int) -> NDArray[Any]:
    """The first two parts of every direction (size, size, 2), in 8 bits."""
    values = np.asarray(one.stored[:])[..., :2]
    if one.bits == 16:
        values = np.rint(values / 257.0)
    parts = values.astype(np.uint8)
    if parts.shape[:2] == (size, size):
        return parts
    scaled = [Image.fromarray(parts[..., axis]).resize((size, size), Image.Resampling.BOX) for axis in range(2)]
    return np.dstack([np.asarray(part) for part in scaled])
