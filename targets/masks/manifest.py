"""The manifest of masks as JSON, and its schema."""

from __future__ import annotations

from typing import Any

from plica.rig.rig import Rig
from plica.rig.rig_json import encoded, encoder, write_lines
from plica.rig.rig_schema import schema_head
from plica.texture.channels import CHANNELS
from plica.texture.mask_set import SIZES, DirectionMap, MaskOptions, MaskSet, Texture
from plica.texture.texture_memory import bytes_in_memory

MANIFEST_FORMAT = "plica-masks"
MANIFEST_VERSION = 1


def manifest_bytes(rig: Rig, masks: MaskSet, options: MaskOptions) -> bytes:
    """The manifest: every fold's place and what it weighs, every texture, sums by detail and in all, and the maps of
    directions."""
    members: dict[str, Any] = {
        "format": MANIFEST_FORMAT,
        "version": MANIFEST_VERSION,
        "build": rig.build,
        "character": rig.character.name,
        "full_size": options.size,
        "folds": [_fold(masks, name) for name in masks.masks],
        "textures": [_texture(texture) for texture in masks.textures],
        "details": [
            {
                "detail": detail.name,
                **_sums([texture for texture in masks.textures if texture.detail == detail.name]),
                "budget": detail.budget,
            }
            for detail in rig.details
        ],
        "total": _sums(list(masks.textures)),
        "directions": [_direction_map(one) for one in masks.directions],
    }
    return encoded(write_lines(members, encoder()))


def _fold(masks: MaskSet, name: str) -> dict[str, Any]:
    mask, place = masks.masks[name], masks.places[name]
    texture = masks.textures[masks.placed[name].texture]
    return {
        "fold": name,
        "side": mask.fold.side,
        "declared": mask.fold.declared,
        "detail": mask.fold.detail,
        "area": mask.fold.area,
        "follows": mask.fold.follows,
        "texture": place.file,
        "channel": place.channel,
        "uv": mask.uv,
        "size": texture.size,
        "smallest_size": mask.size,
        "tolerance": mask.fold.tolerance,
        "error": round(mask.sized.errors[texture.size], 6),
        "mirrored": mask.mirrored,
        "bytes_in_memory": bytes_in_memory(texture.size, 1),
    }


def _texture(texture: Texture) -> dict[str, Any]:
    return {
        "file": texture.file,
        "detail": texture.detail,
        "uv": texture.uv,
        "size": texture.size,
        "channels": texture.channels,
        "folds": list(texture.folds),
        "bytes_on_disk": len(texture.content),
        "bytes_in_memory": texture.memory,
    }


def _direction_map(one: DirectionMap) -> dict[str, Any]:
    return {
        "fold": one.fold,
        "file": one.file,
        "uv": one.uv,
        "size": one.size,
        "bytes_on_disk": len(one.content),
        "bytes_in_memory": one.memory,
    }


def _sums(textures: list[Texture]) -> dict[str, int]:
    return {
        "textures": len(textures),
        "bytes_on_disk": sum(len(texture.content) for texture in textures),
        "bytes_in_memory": sum(texture.memory for texture in textures),
    }


def manifest_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of `<character>.masks.json`."""
    name, share, count = {"type": "string"}, {"type": "number", "minimum": 0}, {"type": "integer", "minimum": 0}
    size = {"enum": list(SIZES)}
    sums = {"textures": count, "bytes_on_disk": count, "bytes_in_memory": count}
    fold = {
        "fold": name,
        "side": {"enum": ["left", "right", "none"]},
        "declared": name,
        "detail": name,
        "area": name,
        "follows": {"type": ["string", "null"]},
        "texture": name,
        "channel": {"enum": list(CHANNELS)},
        "uv": name,
        "size": size,
        "smallest_size": size,
        "tolerance": share,
        "error": share,
        "mirrored": {"type": "boolean"},
        "bytes_in_memory": count,
    }
    texture = {
        "file": name,
        "detail": name,
        "uv": name,
        "size": size,
        "channels": {"enum": [1, 3, 4]},
        "folds": {"type": "array", "items": name, "minItems": 1, "maxItems": 4},
        "bytes_on_disk": count,
        "bytes_in_memory": count,
    }
    directions = {key: texture[key] for key in ("file", "uv", "size", "bytes_on_disk", "bytes_in_memory")}
    top = {
        "format": {"const": MANIFEST_FORMAT},
        "version": {"const": MANIFEST_VERSION},
        "build": {"type": ["string", "null"]},
        "character": name,
        "full_size": size,
        "folds": {"type": "array", "items": _record(fold)},
        "textures": {"type": "array", "items": _record(texture)},
        "details": {
            "type": "array",
            "items": _record({"detail": name, **sums, "budget": {"type": ["number", "null"]}}),
        },
        "total": _record(sums),
        "directions": {"type": "array", "items": _record({"fold": name, **directions})},
    }
    description = "Where the mask of each fold of a character stands, and what the masks weigh."
    described = schema_head("masks", MANIFEST_VERSION, "Plica masks", description)
    return described | _record(top)


def _record(properties: dict[str, Any]) -> dict[str, Any]:
    """An object that has these keys."""
    return {"type": "object", "properties": properties, "required": list(properties)}
