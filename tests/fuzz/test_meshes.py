"""No bytes of any kind make a reader of meshes or sculpts raise anything but UnreadableModel."""

from __future__ import annotations

import io
import tempfile
import zipfile
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.mesh.npz_offsets import parse_npz_offsets
from plica.mesh.obj_mesh import parse_obj
from plica.mesh.read import read_mesh
from plica.readers.gltf_skeleton import skeleton_of_document
from plica.readers.outline import UnreadableModel
from tests.support.meshes import Buffers

WORDS = [b"v", b"f", b"0", b"1", b"-1", b"3", b"1/1", b"//", b"nan", b"1e400", b"\\", b"#", b"\0", b"\xff", b"9" * 30]


@given(st.lists(st.lists(st.sampled_from(WORDS), max_size=6), max_size=8))
@settings(max_examples=300, deadline=None)
def test_any_words_as_obj(lines: list[list[bytes]]) -> None:
    text = b"\n".join(b" ".join(line) for line in [[b"v 0 0 0"], *lines])
    with suppress(UnreadableModel):
        found = parse_obj(text)
        assert np.isfinite(found.positions).all()
        assert found.triangles.max(initial=0) < len(found.positions)


@given(st.binary(max_size=200))
@settings(max_examples=150, deadline=None)
def test_any_bytes_as_obj_and_npz(data: bytes) -> None:
    for parse in (parse_obj, parse_npz_offsets):
        with suppress(UnreadableModel):
            parse(data)


def _good() -> dict[str, bytes]:
    members = {}
    for name, values in (("indices", np.arange(3)), ("offsets", np.ones((3, 3))), ("vertex_count", np.array(5))):
        member = io.BytesIO()
        np.lib.format.write_array(member, values)
        members[f"{name}.npy"] = member.getvalue()
    return members


@given(st.sampled_from(sorted(_good())), st.lists(st.tuples(st.integers(0, 200), st.integers(0, 255)), max_size=4))
@settings(max_examples=250, deadline=None)
def test_changed_arrays(name: str, changes: list[tuple[int, int]]) -> None:
    members = _good()
    data = bytearray(members[name])
    for place, byte in changes:
        data[place % len(data)] = byte
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as file:
        for member, own in (members | {name: bytes(data)}).items():
            file.writestr(member, own)
    with suppress(UnreadableModel):
        found = parse_npz_offsets(content.getvalue())
        assert found.offsets.indices.max(initial=0) < found.vertex_count or not found.offsets.count
        assert np.isfinite(found.offsets.offsets).all()


@given(st.lists(st.tuples(st.integers(0, 10_000), st.integers(0, 255)), min_size=1, max_size=4))
@settings(max_examples=250, deadline=None)
def test_changed_archives(changes: list[tuple[int, int]]) -> None:
    content = io.BytesIO()
    np.savez_compressed(content, indices=np.arange(3), offsets=np.ones((3, 3)), vertex_count=np.array(5))
    data = bytearray(content.getvalue())
    for place, byte in changes:
        data[place % len(data)] = byte
    with suppress(UnreadableModel):
        parse_npz_offsets(bytes(data))


ODD: list[Any] = [None, True, -1, 0, 1, 2, 3, 7, 10**30, 0.5, 1e308, "", "x", [], [0], {}, {"POSITION": 0}, [{}]]


@given(st.lists(st.tuples(st.integers(0, 10_000), st.sampled_from(ODD)), min_size=1, max_size=3))
@settings(max_examples=300, deadline=None)
def test_changed_models(changes: list[tuple[int, Any]]) -> None:
    buffers = Buffers()
    square = [(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 1.0, 0.0)]
    attributes = {
        "POSITION": buffers.add(square),
        "NORMAL": buffers.add(square),
        "TEXCOORD_0": buffers.add([place[:2] for place in square]),
        "JOINTS_0": buffers.add([(0, 1, 0, 0)] * 4, np.uint8),
        "WEIGHTS_0": buffers.add([(0.5, 0.5, 0, 0)] * 4),
    }
    primitive = {"attributes": attributes, "indices": buffers.add([0, 1, 2], np.uint16), "targets": [{"POSITION": 0}]}
    document: dict[str, Any] = {
        "nodes": [{"name": "hip", "children": [1, 2]}, {"name": "knee"}, {"mesh": 1}, {"mesh": 0, "skin": 0}],
        "skins": [{"joints": [0, 1], "inverseBindMatrices": buffers.add(np.tile(np.eye(4), (2, 1, 1)))}],
        "meshes": [
            {"primitives": [primitive], "weights": [0], "extras": {"targetNames": ["smile"]}},
            {"primitives": [{"attributes": {"POSITION": 0}, "mode": 5}]},
        ],
    }
    document |= {"accessors": buffers.accessors}
    places = _places(document)
    for number, odd in changes:
        holder, key = places[number % len(places)]
        with suppress(KeyError, IndexError):
            holder[key] = odd
    with tempfile.TemporaryDirectory() as folder:
        path = buffers.written(Path(folder) / "model.gltf", document)
        with suppress(UnreadableModel):
            names = [joint.name for joint in skeleton_of_document(document).skeleton.joints]
            for chosen in ((), ("mesh_1",)):
                with suppress(UnreadableModel):
                    mesh = read_mesh(path, names, chosen)
                    assert np.isfinite(mesh.positions).all()
                    assert mesh.triangles.max(initial=0) < mesh.vertex_count
                    assert mesh.joints.max(initial=0) < max(len(mesh.bind_joints), 1)


def _places(value: Any) -> list[tuple[Any, Any]]:
    found = []
    for key, item in list(value.items() if isinstance(value, dict) else enumerate(value)):
        found.append((value, key))
        if isinstance(item, dict | list):
            found += _places(item)
    return found
