"""Clips with the weights of shapes as channels: the file's own animations, and clips of other files as new ones."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final, NamedTuple

import numpy as np

from plica.diagnostics import Diagnostics, Severity
from plica.evaluate.poses import Poses
from plica.evaluate.retarget import poses_from_clip
from plica.mesh.arrays import Floats
from plica.mesh.attach import Attached
from plica.readers.clip import Clip
from plica.readers.gltf_arrays import GltfArrays
from plica.readers.gltf_clip import AnimationTrack, sample, track_of
from plica.readers.json_fields import index_of, objects
from plica.rig.rig import Rig
from plica.targets.gltf.additions import Additions, Document
from plica.targets.gltf.keys import Keys, reduced_keys
from plica.targets.gltf.own_channels import weights_node
from plica.targets.gltf.placing import OwnTarget, PlacedShapes
from plica.targets.gltf.weights import NodeTargets, OwnWeights, ShapeWeights, targets_of_nodes

PATH: Final = "weights"


class BakedClip(NamedTuple):
    """A clip with weights: which animation it is, and per node how few keys are how far off, over how many times."""

    name: str
    animation: int
    error: float
    keys: Mapping[int, Keys]

    @property
    def largest_error(self) -> float:
        """How far any weight is off at most."""
        return max((keys.largest_error for keys in self.keys.values()), default=0.0)

    @property
    def most_keys(self) -> int:
        """The keys of the channel that has most."""
        return max((len(keys.times) for keys in self.keys.values()), default=0)

    def as_extras(self) -> dict[str, Any]:
        """What the file's extras say of it."""
        channels = [
            {"node": node, "keys": len(keys.times), "largest_error": keys.largest_error, "checked": keys.checked}
            for node, keys in self.keys.items()
        ]
        return {"name": self.name, "animation": self.animation, "error": self.error, "channels": channels}


@dataclass(frozen=True, eq=False)
class Baking:
    """What clips are baked with; `error` is how far a weight may be off."""

    document: Document
    rig: Rig
    shapes: ShapeWeights
    nodes: Sequence[NodeTargets]
    additions: Additions
    error: float

    def channels(
        self, number: int, name: str, times: Floats, poses: Callable[[Floats], Poses], own: OwnWeights
    ) -> BakedClip:
        """Weight channels in an animation of the document, of the motion that `poses` gives at any times.

        Nodes whose weights stay what they are without the animation get none, unless it moves them already.
        """
        animation: Document = self.document["animations"][number]

        def values(places: Floats) -> Floats:
            shapes = self.shapes.of(poses(places))
            return np.hstack([node.weights(shapes, own, places) for node in self.nodes])

        ends = np.cumsum([0, *(node.total for node in self.nodes)]).tolist()
        columns = [slice(*pair) for pair in pairwise(ends)]
        found = reduced_keys(values, times, columns, self.error) if self.nodes else []
        keys: dict[int, Keys] = {}
        for node, reduced in zip(self.nodes, found, strict=True):
            default = _default_weights(self.document, node.node, node.total).astype(np.float32)
            moved_already = any(weights_node(channel["target"]) == node.node for channel in animation["channels"])
            if moved_already or np.any(reduced.values != default):
                keys[node.node] = reduced
                self._write(animation, node.node, reduced)
        return BakedClip(name, number, self.error, keys)

    def _write(self, animation: Document, node: int, keys: Keys) -> None:
        """The channel of a node's weights, in the place of the one that was there."""
        times, values = self.additions.dense(keys.times, bounds=True), self.additions.dense(keys.values.reshape(-1))
        sampler = {"input": times, "interpolation": "LINEAR", "output": values}
        channels, samplers = animation["channels"], animation["samplers"]
        for channel in channels:
            if weights_node(channel["target"]) == node:
                uses = sum(other["sampler"] == channel["sampler"] for other in channels)
                if uses == 1:
                    samplers[channel["sampler"]] = sampler
                    return
                samplers.append(sampler)
                channel["sampler"] = len(samplers) - 1
                return
        samplers.append(sampler)
        channels.append({"sampler": len(samplers) - 1, "target": {"node": node, "path": PATH}})


def baking_of(
    document: Document, rig: Rig, attached: Attached, placed: PlacedShapes, additions: Additions, error: float
) -> Baking:
    """What clips of a document are baked with, after its shapes were placed."""
    return Baking(document, rig, ShapeWeights(rig, attached), targets_of_nodes(placed), additions, error)


def bake_own(baking: Baking, arrays: GltfArrays, clips: Sequence[Clip], diagnostics: Diagnostics) -> list[BakedClip]:
    """Weights in every animation of the file; `clips` are these, `arrays` the file as it was.

    Raises UnreadableModel.
    """
    result = []
    for number, clip in enumerate(clips):
        between = clip.between
        if between is None or not len(clip.times):
            continue
        told = Diagnostics()
        poses_from_clip(baking.rig, clip, told)  # what does not fit is told of once
        # That a clip moves no joint, but weights or other nodes, is no fault of a file's own.
        diagnostics.extend(tuple(one for one in told.all if one.severity is not Severity.ERROR))

        def poses(times: Floats, between: Callable[[Floats], Clip] = between) -> Poses:
            return poses_from_clip(baking.rig, between(times), Diagnostics())

        own = _own_weights(baking.document, arrays, number)
        result.append(baking.channels(number, clip.name, clip.times, poses, own))
    return result


def _own_weights(document: Document, arrays: GltfArrays, number: int) -> OwnWeights:
    """The weights of the file's own targets in one of its animations, or without it, where it does not move them."""
    place = f"animations[{number}]"
    animation = arrays.document["animations"][number]
    samplers = objects(animation, "samplers", place)
    meshes, nodes = arrays.document["meshes"], arrays.document["nodes"]
    tracks: dict[int, AnimationTrack] = {}
    for channel in objects(animation, "channels", place):
        node = weights_node(channel["target"])
        if node is not None and "mesh" in nodes[node]:
            width = max(len(primitive.get("targets", [])) for primitive in meshes[nodes[node]["mesh"]]["primitives"])
            sampler = samplers[index_of(channel.get("sampler"), len(samplers), place)]
            tracks[node] = track_of(arrays, sampler, (node, PATH), width, place)

    def own(target: OwnTarget, times: Floats) -> Floats:
        track = tracks.get(target.node)
        if track is None:
            return np.full(len(times), _default_weights(document, target.node, target.target + 1)[target.target])
        return np.asarray(sample(track, times)[:, target.target])

    return own


def _default_weights(document: Document, node: int, count: int) -> Floats:
    """The weights (count,) of a node without any animation (section 3.7.2.2)."""
    holder = document["nodes"][node]
    stated = holder.get("weights", document["meshes"][holder["mesh"]].get("weights", []))
    return np.array([*stated, *[0.0] * count][:count], dtype=np.float64)
