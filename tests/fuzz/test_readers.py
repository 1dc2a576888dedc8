"""No bytes of any kind make a reader raise anything but UnreadableModel."""

from __future__ import annotations

import base64
import copy
import json
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.diagnostics import Diagnostics
from plica.pipeline import compile_file
from plica.readers.bvh import parse_bvh
from plica.readers.clips import read_clips
from plica.readers.gltf_arrays import GltfArrays
from plica.readers.gltf_skeleton import outline_of_document
from plica.readers.model import read_outline
from plica.readers.outline import UnreadableModel
from plica.start import start_spec
from tests.support.data import SMALL_DATA
from tests.support.models import container, document_of, figure

SMALL = json.loads((SMALL_DATA / "SimpleSkin.gltf").read_text("utf-8"))
FIGURE = document_of(figure(), morphs=["smile"])
ODD: list[Any] = [
    None,
    True,
    -1,
    0,
    1,
    2,
    5,
    10**30,
    0.5,
    1e308,
    "",
    "x",
    "\ud800",
    "a*b",
    [],
    [0],
    {},
    {"node": 0},
    [[]],
    "{a}",
]


def _with_file(data: bytes, ending: str, read: Callable[[Path], object]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"model{ending}"
        path.write_bytes(data)
        with suppress(UnreadableModel):
            read(path)


def _read_everything(path: Path) -> None:
    read_outline(path)
    arrays = GltfArrays(path)
    for number in range(len(arrays.document.get("accessors") or ())):
        with suppress(UnreadableModel):
            arrays.accessor(number)
    with suppress(UnreadableModel):
        read_clips(path)


@given(st.binary(max_size=200), st.sampled_from([".glb", ".gltf", ".model"]))
@settings(max_examples=150, deadline=None)
def test_any_bytes(data: bytes, ending: str) -> None:
    _with_file(data, ending, read_outline)
    _with_file(b"glTF\x02\0\0\0" + data, ending, read_outline)
    _with_file(container(data), ending, read_outline)


@given(st.binary(max_size=100), st.sampled_from([".usda", ".usdc", ".usdz", ".usd"]))
@settings(max_examples=25, deadline=None)
def test_any_bytes_as_usd(data: bytes, ending: str) -> None:
    pytest.importorskip("pxr", reason="usd-core is not installed")
    for start in (b"", b"#usda 1.0\n", b"PXR-USDC", b"PK\x03\x04"):
        _with_file(start + data, ending, read_outline)


def _places(value: Any, way: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The ways to all values inside a JSON value."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    found = [way] if way else []
    for key, item in inside:
        found += _places(item, (*way, key))
    return found


def _mutated(document: dict[str, Any], changes: list[tuple[int, int]]) -> dict[str, Any]:
    changed = copy.deepcopy(document)
    for where, what in changes:
        places = _places(changed)
        way = places[where % len(places)]
        holder: Any = changed
        for key in way[:-1]:
            holder = holder[key]
        if what % (len(ODD) + 1) == len(ODD):
            del holder[way[-1]]
        else:
            holder[way[-1]] = copy.deepcopy(ODD[what % (len(ODD) + 1)])
        if not changed:
            return changed
    return changed


CHANGES = st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 10**6)), min_size=1, max_size=4)


@given(CHANGES)
@settings(max_examples=250, deadline=None)
def test_changed_documents(changes: list[tuple[int, int]]) -> None:
    _with_file(json.dumps(_mutated(SMALL, changes)).encode(), ".gltf", _read_everything)
    with suppress(UnreadableModel):
        outline_of_document(_mutated(FIGURE, changes), ("skin",))


@given(CHANGES)
@settings(max_examples=100, deadline=None)
def test_what_start_writes_for_a_changed_document_has_no_errors(changes: list[tuple[int, int]]) -> None:
    document = _mutated(FIGURE, changes)
    try:
        outline_of_document(document)
    except UnreadableModel:
        return

    def started(path: Path) -> None:
        found = Diagnostics()
        text = start_spec(path, found)
        assert bool(text) is not found.has_errors
        if text:
            spec = path.with_suffix(".plica")
            spec.write_text(text, "utf-8")
            assert compile_file(spec).rig is not None, text

    _with_file(json.dumps(document).encode(), ".gltf", started)


@given(st.binary(max_size=300))
@settings(max_examples=100, deadline=None)
def test_changed_buffers(data: bytes) -> None:
    document = copy.deepcopy(SMALL)
    for buffer in document["buffers"]:
        buffer["uri"] = "data:;base64," + base64.b64encode(data).decode()
        buffer["byteLength"] = len(data)
    _with_file(json.dumps(document).encode(), ".gltf", _read_everything)


BVH = """HIERARCHY
ROOT Hips
{
OFFSET 0 1 0
CHANNELS 3 Zrotation Xrotation Yrotation
End Site
{
OFFSET 0 0 1
}
}
MOTION
Frames: 1
Frame Time: 0.5
1 2 3
"""
WORDS = [
    "{",
    "}",
    "ROOT",
    "JOINT",
    "End",
    "Site",
    "OFFSET",
    "CHANNELS",
    "MOTION",
    "Frames:",
    "nan",
    "1e999",
    "9" * 30,
    "-1",
    "²",
]


@given(st.lists(st.tuples(st.integers(0, 100), st.sampled_from(["", *WORDS]), st.booleans()), min_size=1, max_size=3))
@settings(max_examples=200, deadline=None)
def test_changed_motion_capture(changes: list[tuple[int, str, bool]]) -> None:
    words = BVH.replace("\n", " \n ").split(" ")
    for where, word, replace in changes:
        words[where % len(words) : where % len(words) + replace] = [word]
    with suppress(UnreadableModel):
        clip = parse_bvh(" ".join(words), "walk")
        assert np.isfinite(clip.rotations).all()


@given(st.text(max_size=200))
@settings(max_examples=100, deadline=None)
def test_any_text_as_motion_capture(text: str) -> None:
    for whole in (text, "HIERARCHY\nROOT a\n" + text, BVH + text):
        with suppress(UnreadableModel):
            parse_bvh(whole, "walk")
