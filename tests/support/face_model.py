"""The open face of ../shared/data/face as a glTF model on one joint, with morph targets, in metres."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.support.data import shared_data
from tests.support.meshes import Buffers

CENTIMETRE = 0.01  # the file's unit, from the face's size
HEAD = """plica 1

character face {
    geometry  "face.gltf" mesh "skin"
    symmetry  across x
    tolerance 0.3 mm
    left      "*_L"
    right     "*_R"
}
"""
"""The right half stands beside the mirror image of the left by up to 0.3 mm (the data's own figures)."""


def face_arrays() -> dict[str, NDArray[Any]]:
    """The arrays of the file."""
    with np.load(shared_data("face", "face_shapes.npz"), allow_pickle=False) as file:
        return {name: file[name] for name in file.files}


def shapes_text(names: dict[str, str]) -> str:
    """Controls, drivers and shapes for both sides, by the names of the declarations; morph targets without `_L`."""
    return "".join(
        f"control {name} both {{ range 0 .. 1 }}\n"
        f"driver {name} both {{ reads control {name}   span 0 .. 1 }}\n"
        + "".join(
            f'shape {name} {side} {{ morph "{morph}{end}"   follows {name} }}\n'
            for side, end in (("left", "_L"), ("right", "_R"))
        )
        for name, morph in names.items()
    )


def face_model(folder: Path, morphs: Sequence[str], arrays: dict[str, NDArray[Any]] | None = None) -> Path:
    """Writes the model with these morph targets."""
    arrays = arrays or face_arrays()
    places, uvs = arrays["neutral"] * CENTIMETRE, arrays["uv"]
    corners = np.stack([arrays["tri_v"].ravel(), arrays["tri_vt"].ravel()], axis=1)
    kinds, numbers = np.unique(corners, axis=0, return_inverse=True)
    positions = places[kinds[:, 0]]
    count = len(kinds)
    buffers = Buffers()
    attributes = {
        "POSITION": buffers.add(positions, min=positions.min(axis=0).tolist(), max=positions.max(axis=0).tolist()),
        "TEXCOORD_0": buffers.add(uvs[kinds[:, 1]] * (1.0, -1.0) + (0.0, 1.0)),
        "JOINTS_0": buffers.add(np.zeros((count, 4), int), np.uint8),
        "WEIGHTS_0": buffers.add(np.tile([1.0, 0.0, 0.0, 0.0], (count, 1))),
    }
    targets = []
    for name in morphs:
        moves = np.zeros_like(places)
        moves[arrays[f"idx_{name}"]] = arrays[f"off_{name}"] * CENTIMETRE
        targets.append({"POSITION": buffers.add(moves[kinds[:, 0]])})
    primitive = {
        "attributes": attributes,
        "indices": buffers.add(numbers.ravel(), np.uint32),
        "targets": targets,
    }
    document = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0, 1]}],
        "nodes": [{"name": "head"}, {"name": "skin", "mesh": 0, "skin": 0}],
        "skins": [{"joints": [0]}],
        "meshes": [{"name": "skin", "primitives": [primitive], "extras": {"targetNames": list(morphs)}}],
    }
    return buffers.written(folder / "face.gltf", document)
