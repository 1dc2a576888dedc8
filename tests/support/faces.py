"""Small glTF models whose nodes show meshes with morph targets, and animations of their weights."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.skeleton.skeleton import Joint, Skeleton
from tests.support.models import document_of, write_model

HEAD = Skeleton(
    (
        Joint("spine", None, (0.0, 1.0, 0.0)),
        Joint("head", 0, (0.0, 0.3, 0.0)),
        Joint("ear_lf", 1, (0.1, 0.1, 0.0)),
        Joint("ear_rt", 1, (-0.1, 0.1, 0.0)),
    )
)


class ShownMesh(NamedTuple):
    """A mesh that a node shows: the names of its morph targets, its own weights and those of the node."""

    targets: Sequence[str]
    weights: Sequence[float] | None = None
    node_weights: Sequence[float] | None = None


class WeightTrack(NamedTuple):
    """An animation channel for the mesh of this number: values (keys, n), or of a cubic spline (keys, 3, n)."""

    mesh: int
    times: Sequence[float]
    values: NDArray[np.float64]
    interpolation: str = "LINEAR"


def face(folder: Path, meshes: Mapping[str, ShownMesh], tracks: Sequence[WeightTrack] = (), name: str = "face") -> Path:
    """A model with the joints of `HEAD`, a node for each mesh, and one animation `speech` of their weights."""
    document = document_of(HEAD)
    attributes = document["meshes"][0]["primitives"][0]["attributes"]
    first = len(document["nodes"]) - 1
    document["nodes"], document["meshes"] = document["nodes"][:first], []
    for number, (mesh, shown) in enumerate(meshes.items()):
        primitive = {"attributes": attributes, "targets": [{"POSITION": 0} for _ in shown.targets]}
        made: dict[str, Any] = {"name": mesh, "primitives": [primitive], "extras": {"targetNames": [*shown.targets]}}
        node: dict[str, Any] = {"name": mesh, "mesh": number, "skin": 0}
        if shown.weights is not None:
            made["weights"] = list(shown.weights)
        if shown.node_weights is not None:
            node["weights"] = list(shown.node_weights)
        document["meshes"].append(made)
        document["nodes"].append(node)
    if tracks:
        _animate(document, first, tracks)
    return write_model(folder / f"{name}.gltf", document)


def _animate(document: dict[str, Any], first: int, tracks: Sequence[WeightTrack]) -> None:
    data, views, samplers, channels = b"", [], [], []
    for track in tracks:
        for values in (np.asarray(track.times), track.values.reshape(-1)):
            block = values.astype("<f4").tobytes()
            views.append({"buffer": 0, "byteOffset": len(data), "byteLength": len(block)})
            document["accessors"].append(
                {"bufferView": len(views) - 1, "componentType": 5126, "count": values.size, "type": "SCALAR"}
            )
            data += block
        end = len(document["accessors"])
        samplers.append({"input": end - 2, "output": end - 1, "interpolation": track.interpolation})
        channels.append({"sampler": len(samplers) - 1, "target": {"node": first + track.mesh, "path": "weights"}})
    uri = "data:application/octet-stream;base64," + base64.b64encode(data).decode()
    document |= {
        "buffers": [{"byteLength": len(data), "uri": uri}],
        "bufferViews": views,
        "animations": [{"name": "speech", "samplers": samplers, "channels": channels}],
    }
