"""A flat sheet with morph targets that stretch parts of it evenly, so that figures on it are known in closed form."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.support.meshes import Buffers

CELLS = 8
TARGETS = ("wide_lf", "wide_rt", "tall")
WIDE, TALL = 0.2, 0.1  # how much a target stretches at weight 1

SPEC = """plica 1
character sheet { geometry "sheet.gltf" mesh "skin"  left "*_lf" right "*_rt" }
region all { skin of head }
driver wide both { reads weight of "wide"   span 0 .. 1 }
"""


def places() -> NDArray[np.float64]:
    """The vertices (v, 3) of the sheet, 2 m wide and 1 m high about the origin."""
    across, up = np.meshgrid(np.linspace(-1.0, 1.0, CELLS + 1), np.linspace(-0.5, 0.5, CELLS + 1))
    return np.stack([across.ravel(), up.ravel(), np.zeros(across.size)], axis=1)


def triangles() -> NDArray[np.int64]:
    """The corners' vertices (t, 3)."""
    corner = (np.arange(CELLS)[:, np.newaxis] * (CELLS + 1) + np.arange(CELLS)).ravel()
    upper = corner + CELLS + 1
    return np.concatenate([np.stack([corner, corner + 1, upper], 1), np.stack([corner + 1, upper + 1, upper], 1)])


def targets() -> list[NDArray[np.float64]]:
    """What each target moves, (v, 3)."""
    x, y, none = *places().T[:2], np.zeros(len(places()))
    return [
        np.stack([WIDE * np.maximum(x, 0.0), none, none], axis=1),
        np.stack([WIDE * np.minimum(x, 0.0), none, none], axis=1),
        np.stack([none, TALL * y, none], axis=1),
    ]


def sheet(folder: Path, keys: Sequence[Sequence[float]] = (), weights: Sequence[float] = (0.0, 0.0, 0.0)) -> Path:
    """The model; with an animation `talk` whose weights are `keys`, one each second. `weights`: those at rest."""
    buffers, count = Buffers(), len(places())
    attributes = {
        "POSITION": buffers.add(places(), min=places().min(axis=0).tolist(), max=places().max(axis=0).tolist()),
        "JOINTS_0": buffers.add(np.zeros((count, 4), int), np.uint8),
        "WEIGHTS_0": buffers.add(np.tile([1.0, 0.0, 0.0, 0.0], (count, 1))),
        "TEXCOORD_0": buffers.add(places()[:, :2] * (0.5, -0.5) + 0.5),
    }
    primitive = {
        "attributes": attributes,
        "indices": buffers.add(triangles().ravel(), np.uint16),
        "targets": [{"POSITION": buffers.add(each)} for each in targets()],
    }
    mesh = {"name": "skin", "primitives": [primitive], "weights": list(weights), "extras": {"targetNames": [*TARGETS]}}
    document = {
        "nodes": [
            {"name": "head", "children": [1, 2]},
            {"name": "ear_lf", "translation": [1.0, 0.0, 0.0]},
            {"name": "ear_rt", "translation": [-1.0, 0.0, 0.0]},
            {"name": "skin", "mesh": 0, "skin": 0},
        ],
        "meshes": [mesh],
        "skins": [{"joints": [0, 1, 2]}],
        "scenes": [{"nodes": [0, 3]}],
        "scene": 0,
    }
    if keys:
        sampler = {"input": buffers.add(np.arange(len(keys))), "output": buffers.add(np.array(keys).reshape(-1))}
        channel = {"sampler": 0, "target": {"node": 3, "path": "weights"}}
        document["animations"] = [{"name": "talk", "samplers": [sampler], "channels": [channel]}]
    path = folder / "sheet.gltf"
    buffers.written(path, document)
    return path


def sheet_spec(folder: Path, text: str = "") -> Path:
    """A spec of the sheet."""
    path = folder / "sheet.plica"
    path.write_text(SPEC + text, "utf-8")
    return path
