"""Small meshes, sculpts and archives that stand for much: refused, or read in memory in proportion to their size."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from plica import limits
from plica.diagnostics import Diagnostics
from plica.mesh.computed_cache import ComputedCache
from plica.mesh.mesh_diagnostics import find_sculpt
from plica.mesh.mesh_reader import read_mesh
from plica.mesh.npz import ArchiveError, LargeArchiveError, arrays_of
from plica.mesh.obj_mesh import parse_obj
from plica.readers.allowance import OverLimit
from plica.readers.model_outline import UnreadableModel
from tests.readers.test_bombs import model
from tests.support.bounded import MIB, in_bounds, peak

TRIANGLE = {"count": 3, "componentType": 5125, "type": "SCALAR"}


def corners(count: int) -> dict[str, Any]:
    return {"bufferView": 0, "count": count, "componentType": 5126, "type": "VEC3"}


def refused(path: Path, words: str, most: int) -> None:
    def read() -> None:
        with pytest.raises(OverLimit, match=words):
            read_mesh(path, [])

    assert peak(read) < most


def test_vertices_without_data(tmp_path: Path) -> None:
    mesh = {"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}
    accessors = [{"count": 44_000_000, "componentType": 5126, "type": "VEC3"}, TRIANGLE]
    refused(model(tmp_path, nodes=[{"mesh": 0}], meshes=[mesh], accessors=accessors), r"accessors\[0\]", 4 * MIB)


def test_one_mesh_that_many_nodes_show(tmp_path: Path) -> None:
    mesh = {"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}
    path = model(
        tmp_path, b"\0" * 12_000, nodes=[{"mesh": 0}] * 200, meshes=[mesh], accessors=[corners(1_000), TRIANGLE]
    )
    with limits.using(limits.Limits()._replace(unpacked_bytes=3 * MIB)):
        refused(path, "has [3-9] MiB.* limit of 3 MiB", 16 * MIB)


def test_morph_targets_that_move_nothing(tmp_path: Path) -> None:
    primitive = {"attributes": {"POSITION": 0}, "indices": 1, "targets": [{}] * 20_000}
    path = model(
        tmp_path,
        b"\0" * 1_200_000,
        nodes=[{"mesh": 0}],
        meshes=[{"primitives": [primitive]}],
        accessors=[corners(100_000), TRIANGLE],
    )
    refused(path, "morph target", 256 * MIB)


def test_what_one_piece_has_all_get_a_column_for(tmp_path: Path) -> None:
    """Many uv sets of three vertices beside many vertices without any."""
    sets = {f"TEXCOORD_{number}": 2 for number in range(500)}
    primitives = [{"attributes": {"POSITION": 0}, "indices": 3}, {"attributes": {"POSITION": 1, **sets}, "indices": 3}]
    path = model(
        tmp_path,
        b"\0" * 1_200_000,
        nodes=[{"mesh": 0}],
        meshes=[{"primitives": primitives}],
        accessors=[corners(100_000), corners(3), {**corners(3), "type": "VEC2"}, TRIANGLE],
    )
    refused(path, "the meshes together", 32 * MIB)


def test_primitives_without_vertices_count_too(tmp_path: Path) -> None:
    primitives = [{"attributes": {"POSITION": 0, f"TEXCOORD_{number}": 1}, "indices": 2} for number in range(100)]
    empty = {"count": 0, "componentType": 5126}
    path = model(
        tmp_path,
        nodes=[{"mesh": 0}] * 100,
        meshes=[{"primitives": primitives}],
        accessors=[{**empty, "type": "VEC3"}, {**empty, "type": "VEC2"}, {**TRIANGLE, "count": 0}],
    )
    with limits.using(limits.Limits()._replace(unpacked_bytes=6 * MIB)):
        refused(path, r"meshes\[0\] has", 16 * MIB)


def test_a_deep_value_where_a_number_belongs_is_told(tmp_path: Path) -> None:
    path = tmp_path / "deep.gltf"
    deep = "[" * 900 + "]" * 900
    path.write_text(
        '{"asset": {"version": "2.0"}, "nodes": [{"mesh": 0}], "meshes": [{"primitives": [{"attributes": '
        f'{{"POSITION": {deep}}}}}]}}]}}',
        "utf-8",
    )
    with pytest.raises(UnreadableModel):
        read_mesh(path, [])


def test_a_deep_model_named_as_a_sculpt_is_told(tmp_path: Path) -> None:
    path = tmp_path / "deep.gltf"
    path.write_text("[" * 200_000, "utf-8")
    assert ComputedCache().digest(path)
    diagnostics = Diagnostics()
    assert find_sculpt(path, "deep.gltf", (), None, diagnostics) is None
    assert [one.name for one in diagnostics.all] == ["unreadable-sculpt"]


# ---- OBJ --------------------------------------------------------------------------------------------


def test_one_polygon_takes_memory_and_time_in_proportion() -> None:
    body = """
found = parse_obj(b"v 0 0 0\\nf" + b" 1" * 250_000)
assert len(found.triangles) == 249_998 and len(found.edges) == 250_000
found = parse_obj(b"v 0 0 0\\n" * 125_000)
assert len(found.positions) == 125_000
found = parse_obj(b"v 0 0 0\\nf" + b" -1\\\\\\n" * 125_000 + b" -1")
assert len(found.edges) == 125_001
"""
    in_bounds("from plica.mesh.obj_mesh import parse_obj", body, 96 * MIB, 15)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"v 0 0 0\nf 1 1 1 \\", "line 2: it ends within a line"),
        (b"v 1_0 0 0\n", "line 1"),
        (b"v nan 0 0\n", "line 1"),
        (b"v 1e50 0 0\n", "line 1"),
        (b"v 0 0 0\nf 1 1 " + b"9" * 5_000, "line 2"),
        (b"v 0 0 0\nf -1 -2 -1", "line 2: there is no vertex -2"),
    ],
)
def test_odd_lines_are_told(text: bytes, words: str) -> None:
    with pytest.raises(UnreadableModel, match=words):
        parse_obj(text)


# ---- NPZ --------------------------------------------------------------------------------------------


def member(kind: str, shape: tuple[int, ...]) -> bytes:
    header = f"{{'descr': {kind}, 'fortran_order': False, 'shape': {shape}, }}\n".encode()
    return b"\x93NUMPY\x01\0" + len(header).to_bytes(2, "little") + header


def archive(members: Iterable[tuple[str, Iterable[bytes]]], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", method) as file:
        for name, parts in members:
            with file.open(f"{name}.npy", "w") as stream:
                for part in parts:
                    stream.write(part)
    return content.getvalue()


def told(data: bytes, words: str, most: int = MIB) -> None:
    def read() -> None:
        with pytest.raises(ArchiveError, match=words):
            arrays_of(data)

    assert peak(read) < most


def test_an_archive_that_unpacks_to_much_more_is_refused() -> None:
    megabyte = b"\0" * MIB
    data = archive([("offsets", [member("'<f8'", (200 * MIB // 8,)), *[megabyte] * 200])])
    assert len(data) < MIB
    told(data, "unpacked, has 201 MiB of numbers, more than the limit of 128 MiB")
    with pytest.raises(LargeArchiveError), limits.using(limits.Limits()._replace(unpacked_bytes=150 * MIB)):
        arrays_of(data)
    smaller = archive([("offsets", [member("'<f8'", (50 * MIB // 8,)), *[megabyte] * 50])])
    assert peak(lambda: arrays_of(smaller)) < 55 * MIB


def test_an_archive_in_an_archive_is_no_array() -> None:
    inner = archive([("offsets", [member("'<f8'", (4 * MIB,)), b"\0" * (32 * MIB)])])
    told(archive([("inner", [inner])]), "no NPZ file of plain arrays")


@pytest.mark.parametrize(
    "header",
    [
        member("'<i8'", (400_000_000,)),
        member("'<i8'", (2**62, 2**62)),
        member("'<i8'", (-1, -1)),
        member("'<U400000000'", ()),
        member("'<i8'", (7,)),
        member("'<i8'", (9,)),
    ],
)
def test_headers_that_lie_are_told_before_room_is_made(header: bytes) -> None:
    told(archive([("indices", [header, b"\0" * 64])]), "its header says|damaged")


@pytest.mark.parametrize(
    "kind", ["[('a', '<i4'), ('b', '<f8')]", "'|O'", "'<c16'", "'<M8[s]'", "('<f8', (3,))", "'|V8'"]
)
def test_arrays_of_anything_but_numbers_and_texts_are_refused(kind: str) -> None:
    told(archive([("indices", [member(kind, (4,)), b"\0" * 96])]), "not an array of numbers or texts|damaged")


@pytest.mark.parametrize("text", [b"\xff\xff\xff\x7f", b"\0\xd8\0\0", b"\0\0\x11\0"])
def test_texts_of_what_is_no_character_are_refused(text: bytes) -> None:
    told(archive([("fingerprint", [member("'<U1'", ()), text])]), "holds what is no text")


def test_two_arrays_of_one_name_and_other_ways_to_pack_are_refused() -> None:
    one = [member("'<i8'", (1,)), b"\0" * 8]
    with pytest.warns(UserWarning, match="Duplicate name"):
        twice = archive([("indices", one), ("indices", one)])
    told(twice, "two arrays of one name")
    told(archive([("indices", one)], zipfile.ZIP_LZMA), "packed in a way")


def test_a_damaged_byte_is_noticed_by_its_checksum() -> None:
    data = bytearray(archive([("offsets", [member("'<f8'", (8,)), b"\1" * 64])], zipfile.ZIP_STORED))
    data[data.index(b"\1" * 64) + 5] ^= 64
    told(bytes(data), "damaged")


def test_arrays_in_either_order_are_what_numpy_saved() -> None:
    content = io.BytesIO()
    columns = np.asfortranarray(np.arange(12.0).reshape(3, 4))
    np.savez(content, columns=columns, empty=np.zeros((0, 3)), one=np.array("wren"), big=np.arange(3, dtype=">i4"))
    result = arrays_of(content.getvalue())
    np.testing.assert_array_equal(result["columns"], columns)
    assert result["empty"].shape == (0, 3)
    assert str(result["one"]) == "wren"
    assert result["big"].tolist() == [0, 1, 2]
