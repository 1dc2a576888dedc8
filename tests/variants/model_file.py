"""A glTF character taken apart into plain arrays, to be changed and written again; shares no code with the readers."""

from __future__ import annotations

import base64
import json
import struct
from collections.abc import Iterator, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
_TYPES = {5120: "i1", 5121: "u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT4": 16}


@dataclass
class Node:
    """One node: `local` (4, 4) is T R S with the signs that `signs` (3,) has; `matrix`: written as a matrix."""

    name: str | None
    parent: int | None
    local: Floats
    signs: Floats = field(default_factory=lambda: np.ones(3))
    mesh: int | None = None
    skin: int | None = None
    matrix: bool = False


@dataclass
class Primitive:
    """Vertices with triangles. joints, weights (v, 4 sets); morphs: by name (v, 3).

    source (v,): which vertex of the character that the model was made from it is, -1 for none.
    """

    positions: Floats
    normals: Floats | None
    uvs: Floats | None
    triangles: Integers
    joints: Integers
    weights: Floats
    morphs: dict[str, Floats]
    source: Integers

    def chosen(self, triangles: Integers) -> Primitive:
        """Some of the triangles (t, 3) with the vertices that they use."""
        used = np.unique(triangles)
        return Primitive(
            self.positions[used],
            None if self.normals is None else self.normals[used],
            None if self.uvs is None else self.uvs[used],
            np.searchsorted(used, triangles),
            self.joints[used],
            self.weights[used],
            {name: offsets[used] for name, offsets in self.morphs.items()},
            self.source[used],
        )


@dataclass
class MeshOf:
    """A mesh of several primitives."""

    name: str | None
    primitives: list[Primitive]


@dataclass
class Skin:
    """The nodes that a skin hangs on, with their inverse bind matrices (joints, 4, 4)."""

    joints: list[int]
    inverse_binds: Floats


@dataclass
class Model:
    """A character: nodes, parents in any order; meshes; skins."""

    nodes: list[Node]
    meshes: list[MeshOf]
    skins: list[Skin]

    def copy(self) -> Model:
        """A model that can be changed without changing this one."""
        return deepcopy(self)

    def node(self, name: str) -> int:
        """The number of the node with a name."""
        return next(number for number, node in enumerate(self.nodes) if node.name == name)

    def children(self, number: int) -> list[int]:
        """The nodes right below one."""
        return [child for child, node in enumerate(self.nodes) if node.parent == number]

    def below(self, number: int) -> list[int]:
        """A node and all below it, parents first."""
        result = [number]
        for node in result:  # which grows while it is walked
            result.extend(self.children(node))
        return result

    def order(self) -> Iterator[int]:
        """All nodes, parents before their children."""
        for root, node in enumerate(self.nodes):
            if node.parent is None:
                yield from self.below(root)

    def worlds(self, locals_of: dict[int, Floats] | None = None) -> list[Floats]:
        """Each node's matrix in model space, (..., 4, 4); `locals_of` replaces the local matrices of some."""
        given = locals_of or {}
        result: list[Floats] = [np.eye(4)] * len(self.nodes)
        for number in self.order():
            node = self.nodes[number]
            local = given.get(number, node.local)
            result[number] = local if node.parent is None else result[node.parent] @ local
        return result

    def put(self, worlds: Sequence[Floats]) -> None:
        """Puts every node at a place in model space, (4, 4) for each."""
        for node, world in zip(self.nodes, worlds, strict=True):
            node.local = world if node.parent is None else np.linalg.inv(worlds[node.parent]) @ world

    @property
    def primitives(self) -> list[Primitive]:
        """The primitives of all meshes."""
        return [primitive for mesh in self.meshes for primitive in mesh.primitives]


def parts(local: Floats, signs: Floats) -> tuple[Floats, Floats, Floats]:
    """Translation, quaternion (x y z w) and scale of a local matrix (..., 4, 4), the scale having these signs."""
    scale = np.linalg.norm(local[..., :3, :3], axis=-2) * signs
    turn = local[..., :3, :3] / scale[..., np.newaxis, :]
    first, _, second = np.linalg.svd(turn)
    nearest = first @ second  # what single precision left over at right angles
    flat = Rotation.from_matrix(nearest.reshape(-1, 3, 3)).as_quat(canonical=True)
    return local[..., :3, 3], flat.reshape(*local.shape[:-2], 4), scale


# ---- reading ------------------------------------------------------------------------------------------


def read_model(path: Path) -> Model:
    """A character of a `.glb` or `.gltf` file with one buffer, without sparse accessors."""
    data = path.read_bytes()
    binary = b""
    if data[:4] == b"glTF":
        length = struct.unpack("<I", data[12:16])[0]
        document = json.loads(data[20 : 20 + length])
        binary = data[20 + length + 8 :]
    else:
        document = json.loads(data)
        uri = document["buffers"][0]["uri"]
        binary = base64.b64decode(uri.split(",")[1]) if uri.startswith("data:") else (path.parent / uri).read_bytes()

    def array(number: int) -> NDArray[Any]:
        accessor = document["accessors"][number]
        view = document["bufferViews"][accessor["bufferView"]]
        kind, width = np.dtype(_TYPES[accessor["componentType"]]), _WIDTHS[accessor["type"]]
        start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
        step = view.get("byteStride") or kind.itemsize * width
        rows = np.lib.stride_tricks.as_strided(
            np.frombuffer(binary, np.uint8, offset=start), (accessor["count"], kind.itemsize * width), (step, 1)
        )
        values = np.ascontiguousarray(rows).view(kind).reshape(accessor["count"], width)
        if kind.kind == "f":
            return values.astype(np.float64)
        return values / np.iinfo(kind).max if accessor.get("normalized") else values.astype(np.int64)

    meshes = []
    for mesh in document["meshes"]:
        names = mesh.get("extras", {}).get("targetNames", [])
        meshes.append(MeshOf(mesh.get("name"), [_primitive(one, array, names) for one in mesh["primitives"]]))
    skins = [
        Skin(list(skin["joints"]), array(skin["inverseBindMatrices"]).reshape(-1, 4, 4).swapaxes(1, 2))
        for skin in document.get("skins", [])
    ]
    model = Model(_nodes(document["nodes"]), meshes, skins)
    start = 0
    for primitive in model.primitives:
        primitive.source += start
        start += len(primitive.source)
    return model


def _primitive(primitive: dict[str, Any], array: Any, names: Sequence[str]) -> Primitive:
    attributes = primitive["attributes"]
    positions = array(attributes["POSITION"])
    joints, weights = np.zeros((len(positions), 0), np.int64), np.zeros((len(positions), 0))
    for number in range(2):
        if f"JOINTS_{number}" in attributes:
            joints = np.hstack([joints, array(attributes[f"JOINTS_{number}"])])
            weights = np.hstack([weights, array(attributes[f"WEIGHTS_{number}"])])
    morphs = {
        name: array(target["POSITION"]) for name, target in zip(names, primitive.get("targets", []), strict=False)
    }
    return Primitive(
        positions,
        array(attributes["NORMAL"]) if "NORMAL" in attributes else None,
        array(attributes["TEXCOORD_0"]) if "TEXCOORD_0" in attributes else None,
        array(primitive["indices"]).reshape(-1, 3),
        joints,
        weights,
        morphs,
        np.arange(len(positions)),
    )


def _nodes(given: list[dict[str, Any]]) -> list[Node]:
    nodes = [Node(node.get("name"), None, np.eye(4), mesh=node.get("mesh"), skin=node.get("skin")) for node in given]
    for number, node in enumerate(given):
        for child in node.get("children", []):
            nodes[child].parent = number
        if "matrix" in node:
            nodes[number].local = np.array(node["matrix"], np.float64).reshape(4, 4).T
            continue
        local, scale = nodes[number].local, np.array(node.get("scale", (1.0, 1.0, 1.0)))
        local[:3, :3] = Rotation.from_quat(node.get("rotation", (0.0, 0.0, 0.0, 1.0))).as_matrix() * scale
        local[:3, 3] = node.get("translation", (0.0, 0.0, 0.0))
        nodes[number].signs = np.where(scale < 0.0, -1.0, 1.0)
    return nodes


# ---- writing ------------------------------------------------------------------------------------------


class _Binary:
    """The buffer of a file that is being written, with its views and accessors."""

    def __init__(self) -> None:
        self.data = bytearray()
        self.views: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []

    def add(self, values: NDArray[Any], kind: str, bounds: bool = False) -> int:
        code = next(code for code, name in _TYPES.items() if name == kind)
        flat = np.ascontiguousarray(values, dtype=kind)
        width = 1 if flat.ndim == 1 else int(np.prod(flat.shape[1:]))
        accessor: dict[str, Any] = {
            "bufferView": len(self.views),
            "componentType": code,
            "count": len(flat),
            "type": next(name for name, size in _WIDTHS.items() if size == width),
        }
        if bounds:
            accessor |= {"min": flat.min(axis=0).tolist(), "max": flat.max(axis=0).tolist()}
        data = flat.tobytes()
        self.views.append({"buffer": 0, "byteOffset": len(self.data), "byteLength": len(data)})
        self.data += data + b"\0" * (-len(data) % 4)
        self.accessors.append(accessor)
        return len(self.accessors) - 1


def write_model(model: Model, path: Path) -> Path:
    """The model as a `.glb` file: arrays in single precision, nodes with all digits."""
    binary = _Binary()
    document: dict[str, Any] = {
        "asset": {"version": "2.0"},
        "nodes": [_written_node(model, number) for number in range(len(model.nodes))],
        "meshes": [_written_mesh(mesh, binary) for mesh in model.meshes],
        "scenes": [{"nodes": [number for number, node in enumerate(model.nodes) if node.parent is None]}],
    }
    if model.skins:
        document["skins"] = [
            {"joints": skin.joints, "inverseBindMatrices": binary.add(skin.inverse_binds.swapaxes(1, 2), "<f4")}
            for skin in model.skins
        ]
    document |= {"bufferViews": binary.views, "accessors": binary.accessors}
    document["buffers"] = [{"byteLength": len(binary.data)}]
    text = json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    chunks += struct.pack("<II", len(binary.data), 0x004E4942) + bytes(binary.data)
    path.write_bytes(struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks)
    return path


def _written_node(model: Model, number: int) -> dict[str, Any]:
    node = model.nodes[number]
    result: dict[str, Any] = {} if node.name is None else {"name": node.name}
    if node.matrix:
        result["matrix"] = node.local.T.reshape(-1).tolist()
    else:
        translation, rotation, scale = parts(node.local, node.signs)
        result |= {"translation": translation.tolist(), "rotation": rotation.tolist(), "scale": scale.tolist()}
    children = model.children(number)
    if children:
        result["children"] = children
    if node.mesh is not None:
        result["mesh"] = node.mesh
    if node.skin is not None:
        result["skin"] = node.skin
    return result


def _written_mesh(mesh: MeshOf, binary: _Binary) -> dict[str, Any]:
    result: dict[str, Any] = {"primitives": [_written_primitive(one, binary) for one in mesh.primitives]}
    if mesh.name is not None:
        result["name"] = mesh.name
    names = list(mesh.primitives[0].morphs)
    if names:
        result["extras"] = {"targetNames": names}
    return result


def _written_primitive(primitive: Primitive, binary: _Binary) -> dict[str, Any]:
    attributes = {"POSITION": binary.add(primitive.positions, "<f4", bounds=True)}
    if primitive.normals is not None:
        attributes["NORMAL"] = binary.add(primitive.normals, "<f4")
    if primitive.uvs is not None:
        attributes["TEXCOORD_0"] = binary.add(primitive.uvs, "<f4")
    for number in range(primitive.joints.shape[1] // 4):
        columns = slice(4 * number, 4 * number + 4)
        attributes[f"JOINTS_{number}"] = binary.add(primitive.joints[:, columns], "<u2")
        attributes[f"WEIGHTS_{number}"] = binary.add(primitive.weights[:, columns], "<f4")
    result: dict[str, Any] = {
        "attributes": attributes,
        "indices": binary.add(primitive.triangles.reshape(-1), "<u4"),
    }
    if primitive.morphs:
        result["targets"] = [
            {"POSITION": binary.add(offsets, "<f4", bounds=True)} for offsets in primitive.morphs.values()
        ]
    return result
