"""A flat cloth of 2 m by 1 m whose two joints share it linearly, so that every area on it is known in closed form."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from plica.mesh.npz import written
from tests.support.meshes import Buffers

ACROSS, UP = 40, 20  # cells
COUNT = (ACROSS + 1) * (UP + 1)

SPEC = """plica 1
character cloth { geometry "cloth.gltf" mesh "skin" }
region far { skin of tip }
driver lift { reads rotation about x of tip   span 0 deg .. 90 deg }
shape bump { sculpt "bump.npz"   follows lift }
detail weave { relaxed "relaxed.png"   contracted "contracted.png"   budget 64 MiB }
fold creases { in weave   area far   follows lift }
"""


def places() -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Where the vertices are, as shares of the cloth (v, 2)."""
    across, up = np.meshgrid(np.linspace(0, 1, ACROSS + 1), np.linspace(0, 1, UP + 1))
    return np.stack([across.ravel(), up.ravel()], axis=1)


def model(path: Path, height: float = 1.0) -> None:
    """The cloth, so many metres high: `base` holds it at x = 0, `tip` at x = 2 m, both in between; the texture is
    spread over all of it.
    """
    share = places()
    corner = (np.arange(UP)[:, np.newaxis] * (ACROSS + 1) + np.arange(ACROSS)).ravel()
    upper = corner + ACROSS + 1
    triangles = np.concatenate([np.stack([corner, corner + 1, upper], 1), np.stack([corner + 1, upper + 1, upper], 1)])
    positions = np.stack([2.0 * share[:, 0], height * share[:, 1], np.zeros(COUNT)], axis=1)
    buffers = Buffers()
    low, high = positions.min(axis=0).tolist(), positions.max(axis=0).tolist()
    attributes = {
        "POSITION": buffers.add(positions, min=low, max=high),
        "TEXCOORD_0": buffers.add(share),
        "JOINTS_0": buffers.add(np.tile([0, 1, 0, 0], (COUNT, 1)), np.uint8),
        "WEIGHTS_0": buffers.add(np.stack([1 - share[:, 0], share[:, 0], 0 * share[:, 0], 0 * share[:, 0]], axis=1)),
    }
    indices = buffers.add(triangles.ravel(), np.uint16)
    binds = np.repeat(np.eye(4)[np.newaxis], 2, axis=0)
    binds[1, 0, 3] = -2.0
    buffers.written(
        path,
        {
            "nodes": [
                {"name": "base", "children": [1]},
                {"name": "tip", "translation": [2.0, 0.0, 0.0]},
                {"name": "skin", "mesh": 0, "skin": 0},
            ],
            "meshes": [{"name": "skin", "primitives": [{"attributes": attributes, "indices": indices}]}],
            "skins": [{"joints": [0, 1], "inverseBindMatrices": buffers.add(binds)}],
            "scenes": [{"nodes": [0, 2]}],
            "scene": 0,
        },
    )


def bump(path: Path, vertices: int, height: float) -> None:
    """A sculpt that lifts the first vertices by a height (metres)."""
    offsets = np.zeros((vertices, 3), "<f4")
    offsets[:, 2] = height
    path.write_bytes(
        written({"indices": np.arange(vertices, dtype="<i4"), "offsets": offsets, "vertex_count": np.array(COUNT)})
    )


def cloth(folder: Path, spec: str = SPEC) -> Path:
    """The spec with its model, its sculpt and its maps in a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    model(folder / "cloth.gltf")
    bump(folder / "bump.npz", 30, 0.002)
    for name in ("relaxed.png", "contracted.png"):
        (folder / name).touch()
    path = folder / "cloth.plica"
    path.write_text(spec, "utf-8")
    return path
