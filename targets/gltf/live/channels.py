"""A file's own animations beside a behaviour graph: no channel moves weights that the graph sets."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from typing import Any

from plica.diagnostics import Diagnostics
from plica.readers.json_fields import fields, objects, text
from plica.targets.gltf.additions import Document

_BY_POINTER = "KHR_animation_pointer"
_POINTER = re.compile(r"/(nodes|meshes)/(0|[1-9][0-9]{0,8})/weights(/.*)?")


def without_weights(document: Document, driven: Collection[int], diagnostics: Diagnostics) -> Document:
    """The document without channels that move the weights of `driven` nodes, each of which is told.

    An animation of which nothing is left is left out. Graph and channel would both set the weights, in an order that no
    specification says, and engines were seen to leave out the whole animation. Raises UnreadableModel.
    """
    meshes = {document["nodes"][node]["mesh"] for node in driven}
    kept, changed = [], False
    for number, animation in enumerate(objects(document, "animations", "the file")):
        place = f"animations[{number}]"
        held = objects(animation, "channels", place)
        channels = [channel for channel in held if not _moves(channel, driven, meshes, place)]
        if len(channels) < len(held):
            changed = True
            name = text(animation, "name", place) or place
            diagnostics.add("gltf-weights-taken-out", None, animation=name)
        if channels:
            kept.append({**animation, "channels": channels})
    if not changed:
        return document
    rest = {key: value for key, value in document.items() if key != "animations"}
    return {**rest, "animations": kept} if kept else rest


def _moves(channel: Mapping[str, Any], nodes: Collection[int], meshes: Collection[int], place: str) -> bool:
    target = fields(channel.get("target"), f"{place} target")
    if target.get("path") == "weights":
        return target.get("node") in nodes
    extensions = fields(target.get("extensions", {}), f"{place} extensions")
    pointer = fields(extensions.get(_BY_POINTER, {}), f"{place} {_BY_POINTER}").get("pointer")
    found = _POINTER.fullmatch(pointer) if isinstance(pointer, str) else None
    return found is not None and int(found[2]) in (nodes if found[1] == "nodes" else meshes)
