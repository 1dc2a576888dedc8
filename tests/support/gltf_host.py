"""A host over a glTF 2.0 document: one of the two that `targets/python/hosts.md` names. Shapes are morph targets.

The standard's morph targets have no inbetweens, so each is a target of its own. Names of targets stand in the mesh's
`extras.targetNames` (common practice that the standard mentions), marks and bound joints in extras of our own.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from pathlib import Path
from typing import Any

import numpy as np

from tests.targets.json.skin_reader import linear, rotation
from tests.variants.model_file import Floats, parts, read_model

Moves = dict[int, tuple[float, float, float]]


class GltfHost:
    """A document with its skin; `document` is what a program would save."""

    inbetweens = False

    def __init__(self, path: Path, document: dict[str, Any]) -> None:
        """path: the model's file, for its arrays; document: its JSON, which may hold shapes of ours already."""
        self.document, self.model = document, read_model(path)
        self.trial: dict[int, Floats] | None = None
        self.weights_before: dict[int, Any] = {}

    # ---- what the rig reads

    def local_transform(self, joint: str) -> tuple[list[float], list[float]]:
        translation, rotation, _ = self._placement(joint)
        return translation.tolist(), rotation.tolist()

    def local_scale(self, joint: str) -> list[float]:
        return self._placement(joint)[2].tolist()  # type: ignore[no-any-return]

    def control(self, name: str) -> float:
        raise KeyError(name)

    def _placement(self, joint: str) -> tuple[Floats, Floats, Floats]:
        number = self._node(joint)
        node = self.model.nodes[number]
        return parts((self.trial or {}).get(number, node.local), node.signs)

    def _node(self, name: str) -> int:
        names = [node.name or f"joint_{number}" for number, node in enumerate(self.model.nodes)]
        if name not in names:
            raise KeyError(name)
        return names.index(name)

    # ---- shapes

    def shapes(self) -> Iterable[tuple[tuple[str, str | None], str, str | None]]:
        for node in self.document["nodes"]:
            if "mesh" in node:
                mesh = self.document["meshes"][node["mesh"]]
                marks = mesh.get("extras", {}).get("marks", {})
                for name in mesh.get("extras", {}).get("targetNames", []):
                    yield (mesh.get("name", f"mesh_{node['mesh']}"), node.get("name")), name, marks.get(name)

    def make_shape(self, mesh: tuple[str, str | None], name: str, mark: str) -> None:
        found = self._mesh(mesh[0])
        extras = found.setdefault("extras", {})
        extras.setdefault("targetNames", []).append(name)
        extras.setdefault("marks", {})[name] = mark
        for primitive in found["primitives"]:
            primitive.setdefault("targets", []).append({})
        for holder in self._weighted(found):
            holder["weights"].append(0.0)

    def rename_shape(self, mesh: tuple[str, str | None], name: str, new_name: str, mark: str) -> None:
        extras = self._mesh(mesh[0])["extras"]
        extras["targetNames"][extras["targetNames"].index(name)] = new_name
        del extras["marks"][name]
        extras["marks"][new_name] = mark

    def remove_shape(self, mesh: tuple[str, str | None], name: str) -> None:
        found = self._mesh(mesh[0])
        place = found["extras"]["targetNames"].index(name)
        for primitive in found["primitives"]:
            self._drop(primitive["targets"].pop(place))
        for holder in self._weighted(found):
            holder["weights"].pop(place)
        found["extras"]["targetNames"].pop(place)
        del found["extras"]["marks"][name]
        for key in ("targetNames", "marks"):
            if not found["extras"][key]:
                del found["extras"][key]
        if not found["extras"]:
            del found["extras"]
        for primitive in found["primitives"]:
            if not primitive["targets"]:
                del primitive["targets"]

    def read_shape(self, part: Mapping[str, Any], name: str) -> dict[float, Moves]:
        return {1.0: self._moves(self._mesh(part["mesh"]), part["primitives"][0], name)}

    def write_shape(self, part: Mapping[str, Any], name: str, stages: Mapping[float, Moves]) -> None:
        mesh = self._mesh(part["mesh"])
        place = mesh["extras"]["targetNames"].index(name)
        for number in part["primitives"]:
            target = mesh["primitives"][number]["targets"][place]
            self._drop(target)
            target["POSITION"] = self._stored(part["vertices"], stages[1.0])

    def stored_vertices(self, part: Mapping[str, Any]) -> list[list[float]]:
        return self.model.meshes[self._number(part["mesh"])].primitives[part["primitives"][0]].positions.tolist()

    # ---- binding and strengths

    def bound_joints(self) -> list[str]:
        return self.document.get("extras", {}).get("bound", [])  # type: ignore[no-any-return]

    def bind_joints(self, joints: Sequence[str]) -> None:
        if joints:
            self.document.setdefault("extras", {})["bound"] = list(joints)
            return
        del self.document["extras"]["bound"]
        if not self.document["extras"]:
            del self.document["extras"]

    def set_strength(self, kind: str, name: str, value: float) -> None:
        for mesh in self.document["meshes"] if kind == "shape" else ():
            names = mesh.get("extras", {}).get("targetNames", [])
            if name in names:
                mesh.setdefault("weights", [0.0] * len(names))[names.index(name)] = value

    # ---- poses

    def pose(
        self, joints: Mapping[str, Any] | None, controls: Mapping[str, float], morphs: Mapping[str, float]
    ) -> None:
        assert not controls and not morphs, "this host's characters have neither"
        meshes = self.document["meshes"]
        if joints is None:
            for number, weights in self.weights_before.items():
                meshes[number].pop("weights", None)
                if weights is not None:
                    meshes[number]["weights"] = weights
            self.trial, self.weights_before = None, {}
            return
        if self.trial is None:
            self.weights_before = {number: deepcopy(mesh.get("weights")) for number, mesh in enumerate(meshes)}
        self.trial = {self._node(name): _matrix(*placement) for name, placement in joints.items()}

    def posed_vertices(self, part: Mapping[str, Any]) -> list[list[float]]:
        """glTF 2.0, sections 3.7.2 (morph targets) and 3.7.3 (skins)."""
        number = self._number(part["mesh"])
        mesh, plain = self.document["meshes"][number], self.model.meshes[number].primitives[part["primitives"][0]]
        places = plain.positions.copy()
        names = mesh.get("extras", {}).get("targetNames", [])
        for name, weight in zip(names, mesh.get("weights", ()), strict=False):
            for vertex, move in self._moves(mesh, part["primitives"][0], name).items() if weight else ():
                places[vertex] += weight * np.array(move)
        worlds = self.model.worlds(self.trial)
        shown = next(node for node in self.model.nodes if node.mesh == number and node.name == part["node"])
        assert shown.skin is not None, "this host's characters have a skin"
        skin = self.model.skins[shown.skin]
        matrices = np.array([worlds[joint] for joint in skin.joints]) @ skin.inverse_binds
        weights = plain.weights / plain.weights.sum(axis=1, keepdims=True)
        return linear(matrices, plain.joints, weights, places).tolist()  # type: ignore[no-any-return]

    # ---- the document's arrays

    def _number(self, mesh: str) -> int:
        names = [found.get("name", f"mesh_{number}") for number, found in enumerate(self.document["meshes"])]
        if mesh not in names:
            raise KeyError(mesh)
        return names.index(mesh)

    def _mesh(self, mesh: str) -> dict[str, Any]:
        return self.document["meshes"][self._number(mesh)]  # type: ignore[no-any-return]

    def _weighted(self, mesh: Mapping[str, Any]) -> list[dict[str, Any]]:
        """The mesh and its nodes, where they state weights."""
        nodes = [node for node in self.document["nodes"] if "mesh" in node]
        holders = [mesh, *(node for node in nodes if self.document["meshes"][node["mesh"]] is mesh)]
        return [dict_ for dict_ in holders if "weights" in dict_]  # type: ignore[misc]

    def _moves(self, mesh: Mapping[str, Any], primitive: int, name: str) -> Moves:
        """The offsets of a target that this host wrote, or of one of the file."""
        place = mesh["extras"]["targetNames"].index(name)
        target = mesh["primitives"][primitive]["targets"][place]
        if name not in mesh["extras"].get("marks", {}):
            every = next(iter(self.model.meshes[self._number(mesh["name"])].primitives)).morphs[name]
            return {vertex: tuple(move) for vertex, move in enumerate(every.tolist())}  # type: ignore[misc]
        if "POSITION" not in target:
            return {}
        accessor = self.document["accessors"][target["POSITION"]]
        view = self.document["bufferViews"][accessor["bufferView"]]
        uri = self.document["buffers"][view["buffer"]]["uri"]
        rows = np.frombuffer(base64.b64decode(uri.split(",")[1]), "<f4").reshape(-1, 3)
        return {int(vertex): tuple(rows[vertex].tolist()) for vertex in np.flatnonzero(rows.any(axis=1))}  # type: ignore[misc]

    def _stored(self, count: int, moves: Moves) -> int:
        """A new accessor with a view and a buffer of its own; `min` and `max` as section 3.7.2.2 wants them."""
        rows = np.zeros((count, 3), "<f4")
        for vertex, move in moves.items():
            rows[vertex] = move
        data = rows.tobytes()
        lists = [self.document.setdefault(key, []) for key in ("buffers", "bufferViews", "accessors")]
        uri = "data:application/octet-stream;base64," + base64.b64encode(data).decode("ascii")
        lists[0].append({"uri": uri, "byteLength": len(data)})
        lists[1].append({"buffer": len(lists[0]) - 1, "byteLength": len(data)})
        bounds = {"min": rows.min(axis=0).tolist(), "max": rows.max(axis=0).tolist()}
        lists[2].append(
            {"bufferView": len(lists[1]) - 1, "componentType": 5126, "type": "VEC3", "count": count} | bounds
        )
        return len(lists[2]) - 1

    def _drop(self, target: dict[str, int]) -> None:
        """Takes out what `_stored` made; what comes behind it moves up by one."""
        if "POSITION" not in target:
            return
        accessor = target.pop("POSITION")
        view = self.document["accessors"].pop(accessor)["bufferView"]
        buffer = self.document["bufferViews"].pop(view)["buffer"]
        self.document["buffers"].pop(buffer)
        for later in self.document["accessors"]:
            if later.get("bufferView", -1) > view:
                later["bufferView"] -= 1
        for later in self.document["bufferViews"]:
            later["buffer"] -= later["buffer"] > buffer
        for mesh in self.document["meshes"]:
            for primitive in mesh["primitives"]:
                for other in primitive.get("targets", []):
                    for semantic, number in other.items():
                        other[semantic] = number - (number > accessor)


def _matrix(translation: Sequence[float], turn: Sequence[float], scale: Sequence[float]) -> Floats:
    """T R S of a placement."""
    matrix = np.eye(4)
    matrix[:3, :3] = rotation(np.array(turn)) * np.array(scale)
    matrix[:3, 3] = translation
    return matrix


def document_of(path: Path) -> dict[str, Any]:
    """The JSON of a glTF file."""
    data = path.read_bytes()
    if data[:4] == b"glTF":
        data = data[20 : 20 + int.from_bytes(data[12:16], "little")]
    return json.loads(data)  # type: ignore[no-any-return]
