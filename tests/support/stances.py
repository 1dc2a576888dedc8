"""Models whose rest is another pose than the one in which their skin was bound, made by code."""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

Matrix = np.ndarray[Any, np.dtype[np.float64]]

BOUND: dict[str, tuple[str | None, tuple[float, float, float]]] = {
    "hips": (None, (0.0, 1.0, 0.0)),
    "spine": ("hips", (0.0, 0.3, 0.0)),
    "arm_lf": ("spine", (0.2, 0.1, 0.0)),
    "hand_lf": ("arm_lf", (0.4, 0.0, 0.0)),
    "arm_rt": ("spine", (-0.2, 0.1, 0.0)),
    "hand_rt": ("arm_rt", (-0.4, 0.0, 0.0)),
}
"""Joints with their parents and places in them, axes along the model's: an even body with its arms stretched out."""


def transform(turn: Rotation | None = None, move: Sequence[float] = (0.0, 0.0, 0.0), scale: float = 1.0) -> Matrix:
    """A similarity, (4, 4)."""
    result = np.eye(4)
    result[:3, :3] = (Rotation.identity() if turn is None else turn).as_matrix() * scale
    result[:3, 3] = move
    return result


def bound_frames(turns: Mapping[str, Rotation] | None = None) -> dict[str, Matrix]:
    """The joints' frames in model space when the skin is bound, turned in their parents by `turns`."""
    result: dict[str, Matrix] = {}
    for name, (parent, place) in BOUND.items():
        above = np.eye(4) if parent is None else result[parent]
        result[name] = above @ transform((turns or {}).get(name), place)
    return result


def model(
    path: Path,
    *,
    rest: Mapping[str, Rotation] | None = None,
    bound: Mapping[str, Rotation] | None = None,
    space: Matrix | None = None,
    unbound: Sequence[str] = (),
    skins: Sequence[Mapping[str, Matrix]] | None = None,
    root: Matrix | None = None,
) -> Path:
    """Writes the body as glTF: `rest`, `bound` turn joints in their parents, at rest and when it was bound.

    `space`: from model space to that of the stored vertices. `unbound`: joints without inverse bind matrices. `skins`:
    instead of one skin, several with these inverse bind matrices. `root`: the matrix of a node above the hips.
    """
    nodes: list[dict[str, Any]] = []
    index = {name: number for number, name in enumerate(BOUND)}
    for name, (_, place) in BOUND.items():
        turn = (rest or {}).get(name, Rotation.identity())
        children = [index[child] for child, (parent, _) in BOUND.items() if parent == name]
        node: dict[str, Any] = {"name": name, "translation": list(place), "rotation": turn.as_quat().tolist()}
        nodes.append(node | ({"children": children} if children else {}))
    back = np.linalg.inv(np.eye(4) if space is None else space)
    inverse = {name: np.linalg.inv(frame) @ back for name, frame in bound_frames(bound).items() if name not in unbound}
    listed = [inverse] if skins is None else list(skins)
    corners = np.array([[0, 1, 0], [0.1, 1, 0], [0, 1.1, 0]], "<f4")
    if space is not None:
        corners = (corners @ space[:3, :3].T + space[:3, 3]).astype("<f4")
    data = bytearray()
    document: dict[str, Any] = {
        "asset": {"version": "2.0"}, "nodes": nodes, "meshes": [], "skins": [], "accessors": [], "bufferViews": [],
    }  # fmt: skip

    def store(values: Any, kind: str, component: int) -> int:
        array = np.ascontiguousarray(values)
        document["bufferViews"].append({"buffer": 0, "byteOffset": len(data), "byteLength": array.nbytes})
        view = len(document["bufferViews"]) - 1
        document["accessors"].append(
            {"bufferView": view, "componentType": component, "count": len(array), "type": kind}
        )
        data.extend(array.tobytes())
        return len(document["accessors"]) - 1

    for number, matrices in enumerate(listed):
        held = np.stack([matrix.T.ravel() for matrix in matrices.values()]).astype("<f4")
        joints = [index[name] for name in matrices]
        document["skins"].append({"joints": joints, "inverseBindMatrices": store(held, "MAT4", 5126)})
        attributes = {
            "POSITION": store(corners, "VEC3", 5126),
            "JOINTS_0": store(np.zeros((3, 4), "<u2"), "VEC4", 5123),
            "WEIGHTS_0": store(np.array([[1, 0, 0, 0]] * 3, "<f4"), "VEC4", 5126),
        }
        document["meshes"].append({"name": f"skin_{number}", "primitives": [{"attributes": attributes}]})
        nodes.append({"mesh": number, "skin": number})
    if root is not None:
        nodes.append({"name": "root", "matrix": root.T.ravel().tolist(), "children": [0]})
    uri = "data:application/octet-stream;base64," + base64.b64encode(bytes(data)).decode()
    document["buffers"] = [{"byteLength": len(data), "uri": uri}]
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def about(axis: str, degrees: float) -> Rotation:
    """A turn about one of the axes."""
    return Rotation.from_euler(axis, degrees, degrees=True)
