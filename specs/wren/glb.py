"""Writes glTF 2.0 binary files: a mesh with its skin, or an animation of the same nodes.

Follows the Khronos glTF 2.0 specification: section 4.4 for the container, 3.6 for buffers, 3.7 for
meshes and skins, 3.11 for animations.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats
from plica.specs.wren import steps
from plica.specs.wren.model import DemoModel
from plica.specs.wren.skeleton import WrenSkeleton
from plica.specs.wren.vectors import quaternion_from_matrix

Json: TypeAlias = dict[str, Any]

GENERATOR: Final = "plica demo"
_FLOAT, _UNSIGNED_SHORT, _UNSIGNED_BYTE = 5126, 5123, 5121
_VERTEX_DATA, _INDEX_DATA = 34962, 34963
_COMPONENTS: Final = {"f": _FLOAT, "H": _UNSIGNED_SHORT, "B": _UNSIGNED_BYTE}


@dataclass
class _Binary:
    content: bytearray = field(default_factory=bytearray)
    views: list[Json] = field(default_factory=list)
    accessors: list[Json] = field(default_factory=list)

    def add(self, values: NDArray[Any], kind: str, target: int | None = None, bounds: bool = False) -> int:
        """Stores an array whose first axis counts the elements; returns its accessor."""
        packed = np.ascontiguousarray(values)
        view: Json = {"buffer": 0, "byteOffset": len(self.content), "byteLength": packed.nbytes}
        if target is not None:
            view["target"] = target
        accessor: Json = {
            "bufferView": len(self.views),
            "componentType": _COMPONENTS[packed.dtype.char],
            "count": len(packed),
            "type": kind,
        }
        if bounds:
            flat = packed.reshape(len(packed), -1)
            accessor["min"], accessor["max"] = flat.min(axis=0).tolist(), flat.max(axis=0).tolist()
        self.content += packed.astype(packed.dtype.newbyteorder("<")).tobytes()
        self.content += b"\0" * (-len(self.content) % 4)
        self.views.append(view)
        self.accessors.append(accessor)
        return len(self.accessors) - 1


def _container(document: Json, binary: _Binary) -> bytes:
    document["buffers"] = [{"byteLength": len(binary.content)}]
    document["bufferViews"] = binary.views
    document["accessors"] = binary.accessors
    text = json.dumps(document, separators=(",", ":"), sort_keys=True).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    chunks += struct.pack("<II", len(binary.content), 0x004E4942) + bytes(binary.content)
    return struct.pack("<III", 0x46546C67, 2, 12 + len(chunks)) + chunks


def _joint_nodes(skeleton: WrenSkeleton) -> list[Json]:
    nodes: list[Json] = []
    for name, matrix in zip(skeleton.names, skeleton.local_rest, strict=True):
        nodes.append(
            {
                "name": name,
                "translation": steps.rounded(matrix[:3, 3], steps.JOINT).tolist(),
                "rotation": steps.rounded_quaternions(quaternion_from_matrix(matrix[:3, :3]), steps.JOINT).tolist(),
            }
        )
    for index, parent in enumerate(skeleton.parents):
        if parent >= 0:
            nodes[parent].setdefault("children", []).append(index)
    return nodes


def _document(nodes: list[Json], roots: list[int]) -> Json:
    return {
        "asset": {"version": "2.0", "generator": GENERATOR},
        "scene": 0,
        "scenes": [{"name": "wren", "nodes": roots}],
        "nodes": nodes,
    }


def model_file(model: DemoModel) -> bytes:
    """The skinned mesh "skin", bound in the rest pose to the skeleton's nodes."""
    binary = _Binary()
    attributes = {
        "POSITION": binary.add(model.positions.astype(np.float32), "VEC3", _VERTEX_DATA, bounds=True),
        "NORMAL": binary.add(model.normals.astype(np.float32), "VEC3", _VERTEX_DATA),
        "TEXCOORD_0": binary.add(model.texture_coordinates.astype(np.float32), "VEC2", _VERTEX_DATA),
        "COLOR_0": binary.add(model.colors, "VEC4", _VERTEX_DATA),
        "JOINTS_0": binary.add(model.joints.astype(np.uint8), "VEC4", _VERTEX_DATA),
        "WEIGHTS_0": binary.add(model.weights.astype(np.float32), "VEC4", _VERTEX_DATA),
    }
    binary.accessors[attributes["COLOR_0"]]["normalized"] = True
    indices = binary.add(model.triangles.astype(np.uint16).reshape(-1), "SCALAR", _INDEX_DATA)
    # glTF stores matrices column by column.
    inverse = steps.rounded(np.asarray(np.linalg.inv(model.skeleton.rest), dtype=np.float64), steps.BIND)
    inverse[:, 3] = (0.0, 0.0, 0.0, 1.0)
    bind = binary.add(inverse.transpose(0, 2, 1).astype(np.float32).reshape(-1, 16), "MAT4")
    nodes = _joint_nodes(model.skeleton)
    nodes.append({"name": "skin", "mesh": 0, "skin": 0})
    document = _document(nodes, [0, len(nodes) - 1])
    document["meshes"] = [
        {"name": "skin", "primitives": [{"attributes": attributes, "indices": indices, "material": 0}]}
    ]
    document["materials"] = [
        {
            "name": "fur",
            "pbrMetallicRoughness": {"metallicFactor": 0.0, "roughnessFactor": 0.85},
        }
    ]
    document["skins"] = [
        {
            "name": "skin",
            "joints": list(range(len(model.skeleton.joints))),
            "skeleton": 0,
            "inverseBindMatrices": bind,
        }
    ]
    return _container(document, binary)


@dataclass(frozen=True)
class ClipChannel:
    """One joint's animated property: `rotation` with (frames, 4) quaternions or `translation` with (frames,
    3).
    """

    joint: str
    path: str
    values: Floats


def clip_file(skeleton: WrenSkeleton, name: str, times: Floats, channels: list[ClipChannel]) -> bytes:
    """The skeleton's nodes without a mesh and one animation, sampled linearly at `times` (frames,) in
    seconds.
    """
    binary = _Binary()
    at = binary.add(times.astype(np.float32), "SCALAR", bounds=True)
    kinds: Mapping[str, str] = {"rotation": "VEC4", "translation": "VEC3"}
    samplers: list[Json] = []
    targets: list[Json] = []
    for channel in channels:
        output = binary.add(channel.values.astype(np.float32), kinds[channel.path])
        targets.append(
            {
                "sampler": len(samplers),
                "target": {"node": skeleton.number[channel.joint], "path": channel.path},
            }
        )
        samplers.append({"input": at, "output": output, "interpolation": "LINEAR"})
    document = _document(_joint_nodes(skeleton), [0])
    document["animations"] = [{"name": name, "samplers": samplers, "channels": targets}]
    return _container(document, binary)
