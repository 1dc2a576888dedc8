"""A file's own animations beside a behaviour graph: no channel moves weights that the graph sets."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from typing import Any

from plica.diagnostics import Diagnostics
from plica.targets.gltf.additions import Document

_POINTER = re.compile(r"/(nodes|meshes)/(0|[1-9][0-9]{0,8})/weights(/.*)?")


def without_weights(document: Document, driven: Collection[int], diagnostics: Diagnostics) -> Document:
    """The document without channels that move the weights of `driven` nodes, each of which is told.

    An animation of which nothing is left is left out. Graph and channel would both set the weights, in an order that no
    specification says, and engines were seen to leave out the whole animation.
    """
    meshes = {document["nodes"][node]["mesh"] for node in driven}
    kept, changed = [], False
    for number, animation in enumerate(document.get("animations", [])):
        channels = [channel for channel in animation["channels"] if not _moves(channel, driven, meshes)]
        if len(channels) < len(animation["channels"]):
            changed = True
            name = animation.get("name") or f"animations[{number}]"
            diagnostics.add("gltf-weights-taken-out", None, animation=name)
        if channels:
            kept.append({**animation, "channels": channels})
    if not changed:
        return document
    rest = {key: value for key, value in document.items() if key != "animations"}
    return {**rest, "animations": kept} if kept else rest


def _moves(channel: Mapping[str, Any], nodes: Collection[int], meshes: Collection[int]) -> bool:
    target = channel["target"]
    if target.get("path") == "weights":
        return target.get("node") in nodes
    pointer = target.get("extensions", {}).get("KHR_animation_pointer", {}).get("pointer")
    found = _POINTER.fullmatch(pointer) if isinstance(pointer, str) else None
    return found is not None and int(found[2]) in (nodes if found[1] == "nodes" else meshes)
