"""The file's own animations of morph weights, for meshes that have more targets now (glTF 2.0, section 3.11)."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping

import numpy as np

from plica.readers.gltf_arrays import GltfArrays
from plica.readers.json_fields import Fields, fields, index_of, objects
from plica.readers.model_outline import UnreadableModel
from plica.targets.gltf.additions import Additions, Document

_POINTER = re.compile(r"/(nodes|meshes)/(0|[1-9][0-9]{0,8})/weights")


def widen_channels(
    document: Document,
    arrays: GltfArrays,
    grown: Mapping[int, tuple[int, int]],
    additions: Additions,
    done: Collection[int] = (),
) -> None:
    """Weights of 0 for the new targets in every key of channels that move the weights of `grown` nodes.

    `grown`: by node, how many targets its mesh had and has. `arrays`: of the file as it was. `done`: animations that
    give nodes new weights already. Channels that point at weights by KHR_animation_pointer are widened in all of them.
    Raises UnreadableModel.
    """
    meshes = {document["nodes"][node]["mesh"]: sizes for node, sizes in grown.items()}
    objects(document, "animations", "the file")
    animations: list[Document] = document.get("animations") or []
    for number, animation in enumerate(animations):
        place = f"animations[{number}]"
        samplers = objects(animation, "samplers", place)
        widened: dict[tuple[int, int], int] = {}
        objects(animation, "channels", place)
        channels: list[Document] = animation.get("channels") or []
        uses = [channel.get("sampler") for channel in channels]
        for channel in channels:
            target = fields(channel.get("target"), f"{place} target")
            sizes = _sizes(target, grown, meshes)
            if sizes is None or (number in done and weights_node(target) is not None):
                continue
            sampler = index_of(channel.get("sampler"), len(samplers), f"{place} sampler")
            key = (sampler, sizes[1])
            if key not in widened:
                shared = uses.count(sampler) > 1
                widened[key] = _widened(animation, sampler, sizes, arrays, additions, shared)
            channel["sampler"] = widened[key]


def weights_node(target: Fields) -> int | None:
    """The node whose weights a channel with this target moves; None where it moves something else."""
    node = target.get("node")
    return node if target.get("path") == "weights" and type(node) is int else None


def _sizes(
    target: Fields, grown: Mapping[int, tuple[int, int]], meshes: Mapping[int, tuple[int, int]]
) -> tuple[int, int] | None:
    """How many weights a channel moves and has to move; None where it moves something else."""
    node = weights_node(target)
    return grown.get(node) if node is not None else _pointed(target, grown, meshes)


def _pointed(
    target: Fields, grown: Mapping[int, tuple[int, int]], meshes: Mapping[int, tuple[int, int]]
) -> tuple[int, int] | None:
    """The sizes of what a channel points at by KHR_animation_pointer, where that is weights."""
    extensions = target.get("extensions")
    held = extensions.get("KHR_animation_pointer") if isinstance(extensions, dict) else None
    found = _POINTER.fullmatch(str(held.get("pointer"))) if isinstance(held, dict) else None
    if target.get("path") != "pointer" or found is None:
        return None
    return (grown if found[1] == "nodes" else meshes).get(int(found[2]))


def _widened(
    animation: Document,
    number: int,
    sizes: tuple[int, int],
    arrays: GltfArrays,
    additions: Additions,
    shared: bool,
) -> int:
    """A sampler whose keys have weights for all targets: the same one, changed, where no other channel uses it."""
    before, after = sizes
    sampler = animation["samplers"][number]
    values = arrays.accessor(sampler["output"]).reshape(-1)
    if values.dtype.kind != "f" or len(values) % before:
        raise UnreadableModel(f"a channel moves morph weights, but has not {before} numbers for each key")
    wide = np.zeros((len(values) // before, after), np.dtype("<f4"))
    wide[:, :before] = values.reshape(-1, before)
    output = additions.dense(wide.reshape(-1))
    if not shared:
        sampler["output"] = output
        return number
    animation["samplers"].append({**sampler, "output": output})
    return len(animation["samplers"]) - 1
