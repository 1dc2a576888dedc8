"""Meshes made for tests: mirrored by construction, or bare arrays with one joint."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Integers, Mesh, MeshPart
from tests.support.models import write_model


def bare_mesh(positions: Floats, triangles: Integers, points: Integers | None = None) -> Mesh:
    """A mesh whose vertices all hang on joint 0."""
    count = len(positions)
    return Mesh(
        positions=positions,
        triangles=triangles,
        normals=None,
        uvs={},
        points=np.arange(count) if points is None else points,
        joints=np.zeros((count, 1), np.int64),
        weights=np.ones((count, 1)),
        bind_joints=np.zeros(1, np.int64),
        inverse_binds=np.eye(4)[None],
        morphs={},
        parts=(MeshPart("skin", None, (0,), 0, count),),
    )


def bilateral(vertices: int, seed: int, *, shuffled: bool = True) -> tuple[Floats, Integers]:
    """A bumpy closed surface of about so many vertices, mirrored bit for bit across x = 0, in any order of vertices.

    Rings around y from pole to pole; each ring's first and middle vertices lie on the plane.
    """
    random = np.random.default_rng(seed)
    around = max(int(np.sqrt(vertices)) // 2 * 2, 4)
    rings = max(vertices // around, 2)
    turn = np.linspace(0.0, np.pi, around // 2 + 1)
    height = np.linspace(0.02, np.pi - 0.02, rings)[:, None]
    bumps = 1.0 + 0.1 * np.sin(5.0 * turn) * np.sin(7.0 * height) + random.uniform(-1e-4, 1e-4, (rings, len(turn)))
    x = 0.5 * bumps * np.sin(height) * np.sin(turn)
    x[:, [0, -1]] = 0.0
    half = np.stack([x, np.cos(height) * bumps, 0.4 * bumps * np.sin(height) * np.cos(turn)], axis=-1)
    other = half[:, -2:0:-1] * (-1.0, 1.0, 1.0)
    positions = np.concatenate([half, other], axis=1).reshape(-1, 3)
    number = np.arange(rings * around).reshape(rings, around)
    a, b = number[:-1], np.roll(number[:-1], -1, axis=1)
    c, d = number[1:], np.roll(number[1:], -1, axis=1)
    # The diagonals mirror too: they turn over at the middle of each ring.
    left = np.arange(around) < around // 2
    one = np.where(left[:, None], np.stack([a, b, d], -1), np.stack([a, b, c], -1)).reshape(-1, 3)
    two = np.where(left[:, None], np.stack([a, d, c], -1), np.stack([b, d, c], -1)).reshape(-1, 3)
    triangles = np.concatenate([one, two])
    if not shuffled:
        return positions, triangles
    order = random.permutation(len(positions))
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    return positions[order], place[triangles]


class Buffers:
    """Accessors of a glTF document, gathered in one buffer that is written into the document itself."""

    def __init__(self) -> None:
        self.data = b""
        self.views: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []

    def add(self, values: Any, kind: type[np.generic] = np.float32, **more: Any) -> int:
        """The number of a new accessor of these values (n,) or (n, 2 to 4) or (n, 4, 4)."""
        array: NDArray[Any] = np.asarray(values).astype(kind)
        kinds = {np.float32: 5126, np.uint8: 5121, np.uint16: 5123, np.uint32: 5125}
        shape = "SCALAR" if array.ndim == 1 else "MAT4" if array.ndim == 3 else f"VEC{array.shape[1]}"
        stored = array.transpose(0, 2, 1) if array.ndim == 3 else array
        accessor = {"bufferView": self.view(stored), "componentType": kinds[kind], "count": len(array), "type": shape}
        self.accessors.append(accessor | more)
        return len(self.accessors) - 1

    def view(self, array: NDArray[Any]) -> int:
        """The number of a new buffer view of these bytes."""
        self.data += b"\0" * (-len(self.data) % 4)
        content = np.ascontiguousarray(array).tobytes()
        self.views.append({"buffer": 0, "byteOffset": len(self.data), "byteLength": len(content)})
        self.data += content
        return len(self.views) - 1

    def written(self, path: Path, document: dict[str, Any]) -> Path:
        """The document with the accessors, as a file."""
        uri = "data:;base64," + base64.b64encode(self.data).decode()
        own = {"asset": {"version": "2.0"}, "buffers": [{"byteLength": len(self.data), "uri": uri}]}
        return write_model(path, own | {"bufferViews": self.views, "accessors": self.accessors} | document)
