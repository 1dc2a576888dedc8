"""The files of the demo character as they are shipped, read by other libraries."""

from __future__ import annotations

import io
from functools import lru_cache
from typing import Any

import numpy as np
import pygltflib  # type: ignore[import-untyped]
from numpy.typing import NDArray

from plica.demo import demo_files
from plica.specs.wren import otter

Array = NDArray[Any]

_TYPES = {5121: np.uint8, 5123: np.uint16, 5125: np.uint32, 5126: np.float32}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT4": 16}


@lru_cache(maxsize=1)
def files() -> dict[str, bytes]:
    """What is computed of the demo, as it is shipped."""
    return {name: content for name, content in demo_files().items() if not name.endswith(".plica")}


@lru_cache(maxsize=4)
def opened(path: str) -> pygltflib.GLTF2:
    """A glTF file, through pygltflib."""
    return pygltflib.GLTF2.load_from_bytes(files()[path])


def read(path: str, accessor: int) -> Array:
    """An accessor's values as the file holds them, through pygltflib."""
    document = opened(path)
    entry = document.accessors[accessor]
    view = document.bufferViews[entry.bufferView]
    values = np.frombuffer(
        document.binary_blob(),
        dtype=_TYPES[entry.componentType],
        count=entry.count * _WIDTHS[entry.type],
        offset=view.byteOffset or 0,
    )
    return values.reshape(entry.count, -1)


def attribute(name: str) -> Array:
    """An attribute of the skin."""
    primitive = opened("wren.glb").meshes[0].primitives[0]
    return read("wren.glb", getattr(primitive.attributes, name))


def archive(path: str) -> dict[str, Array]:
    """The arrays of a sculpt."""
    with np.load(io.BytesIO(files()[path]), allow_pickle=False) as content:
        return {name: content[name] for name in content.files}


def sculpt_paths() -> list[str]:
    """The sculpts that the demo has."""
    fingers = [digit.name for digit in otter.FINGERS]
    names = ["upperarm_swell", "wrist_tendons", "brow_raise", "whisker_lift"]
    names += ["elbow_crease", "elbow_crease_half", "armpit_hold", "armpit_hold_half"]
    names += ["knee_hold", "knee_hold_22", "knee_hold_50"]
    names += [f"{finger}_knuckle" for finger in fingers] + [f"{finger}_knuckle_half" for finger in fingers]
    return [f"sculpts/{name}.npz" for name in names]
