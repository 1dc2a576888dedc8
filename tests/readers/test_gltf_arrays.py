"""Accessors: types, strides, sparse elements, buffers from all places, and bounds."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from plica.readers.gltf_arrays import GltfArrays
from plica.readers.model_outline import UnreadableModel
from tests.support.models import container


def _arrays(folder: Path, data: bytes, accessors: list[dict[str, Any]], views: list[dict[str, Any]]) -> GltfArrays:
    uri = "data:application/octet-stream;base64," + base64.b64encode(data).decode()
    return _model(folder, {"uri": uri, "byteLength": len(data)}, accessors, views)


def _model(folder: Path, buffer: dict[str, Any], accessors: list[Any], views: list[Any]) -> GltfArrays:
    document = {"asset": {"version": "2.0"}, "buffers": [buffer], "bufferViews": views, "accessors": accessors}
    path = folder / "model.gltf"
    path.write_text(json.dumps(document))
    return GltfArrays(path)


def _view(length: int, **others: int) -> dict[str, int]:
    return {"buffer": 0, "byteLength": length, **others}


@pytest.mark.parametrize(
    ("component", "kind", "expected"),
    [
        # glTF 2.0 section 3.6.2.2: f = c / 255, c / 65535, max(c / 127, -1), max(c / 32767, -1)
        (5121, "u1", [0.0, 1.0, 128 / 255]),
        (5123, "<u2", [0.0, 1.0, 32768 / 65535]),
        (5120, "i1", [-1.0, 1.0, -127 / 127]),
        (5122, "<i2", [-1.0, 1.0, -32767 / 32767]),
    ],
)
def test_normalised_integers(tmp_path: Path, component: int, kind: str, expected: list[float]) -> None:
    information = np.iinfo(np.dtype(kind))
    last = information.max // 2 + 1 if information.min == 0 else -information.max
    data = np.array([information.min, information.max, last], kind).tobytes()
    accessor = {"bufferView": 0, "componentType": component, "count": 3, "type": "SCALAR", "normalized": True}
    result = _arrays(tmp_path, data, [accessor], [_view(len(data))]).accessor(0)
    assert result.dtype == np.float64
    np.testing.assert_array_equal(result, expected)


def test_integers_stay_integers(tmp_path: Path) -> None:
    data = np.array([1, 65535], "<u2").tobytes()
    accessor = {"bufferView": 0, "componentType": 5123, "count": 2, "type": "SCALAR"}
    result = _arrays(tmp_path, data, [accessor], [_view(4)]).accessor(0)
    assert result.dtype.kind == "u"
    assert result.tolist() == [1, 65535]


def test_strides_and_offsets(tmp_path: Path) -> None:
    rows = np.arange(24, dtype="<f4").reshape(4, 6)
    data = b"????" + rows.tobytes()
    accessor = {"bufferView": 0, "byteOffset": 8, "componentType": 5126, "count": 4, "type": "VEC3"}
    result = _arrays(tmp_path, data, [accessor], [_view(96, byteOffset=4, byteStride=24)]).accessor(0)
    np.testing.assert_array_equal(result, rows[:, 2:5])


def test_matrices_are_stored_by_columns_and_small_columns_are_padded(tmp_path: Path) -> None:
    matrix = np.arange(16, dtype="<f4").reshape(1, 4, 4)
    padded = np.array([[1, 2, 3, 99], [4, 5, 6, 99], [7, 8, 9, 99]], "u1")
    data = matrix.transpose(0, 2, 1).tobytes() + padded.tobytes()
    accessors = [
        {"bufferView": 0, "componentType": 5126, "count": 1, "type": "MAT4"},
        {"bufferView": 0, "byteOffset": 64, "componentType": 5121, "count": 1, "type": "MAT3"},
    ]
    arrays = _arrays(tmp_path, data, accessors, [_view(len(data))])
    np.testing.assert_array_equal(arrays.accessor(0), matrix)
    np.testing.assert_array_equal(arrays.accessor(1), [[[1, 4, 7], [2, 5, 8], [3, 6, 9]]])


def test_sparse_accessors_replace_elements_of_zeros_and_of_data(tmp_path: Path) -> None:
    values = np.array([[1, 2, 3], [4, 5, 6]], "<f4").tobytes()
    positions = np.array([0, 2], "u1").tobytes()
    base = np.full((3, 3), 7, "<f4").tobytes()
    data = values + base + positions
    sparse = {
        "count": 2,
        "indices": {"bufferView": 2, "componentType": 5121},
        "values": {"bufferView": 0},
    }
    accessors = [
        {"componentType": 5126, "count": 3, "type": "VEC3", "sparse": sparse},
        {"bufferView": 1, "componentType": 5126, "count": 3, "type": "VEC3", "sparse": sparse},
        {"componentType": 5126, "count": 3, "type": "VEC3"},
    ]
    views = [_view(24), _view(36, byteOffset=24), _view(2, byteOffset=60)]
    arrays = _arrays(tmp_path, data, accessors, views)
    np.testing.assert_array_equal(arrays.accessor(0), [[1, 2, 3], [0, 0, 0], [4, 5, 6]])
    np.testing.assert_array_equal(arrays.accessor(1), [[1, 2, 3], [7, 7, 7], [4, 5, 6]])
    np.testing.assert_array_equal(arrays.accessor(2), np.zeros((3, 3)))


def test_buffers_come_from_the_container_and_from_files(tmp_path: Path) -> None:
    data = np.arange(3, dtype="<f4").tobytes()
    accessor = {"bufferView": 0, "componentType": 5126, "count": 3, "type": "SCALAR"}
    document = {
        "asset": {"version": "2.0"},
        "buffers": [{"byteLength": 12}],
        "bufferViews": [_view(12)],
        "accessors": [accessor],
    }
    path = tmp_path / "model.glb"
    path.write_bytes(container(json.dumps(document).encode(), data))
    assert GltfArrays(path).accessor(0).tolist() == [0.0, 1.0, 2.0]
    (tmp_path / "my data.bin").write_bytes(data)
    arrays = _model(tmp_path, {"uri": "my%20data.bin", "byteLength": 12}, [accessor], [_view(12)])
    assert arrays.accessor(0).tolist() == [0.0, 1.0, 2.0]


@pytest.mark.parametrize("uri", ["../secret.bin", "link.bin", "http://example.org/a.bin", "{outside}", "missing.bin"])
def test_nothing_outside_the_models_folder_is_read(tmp_path: Path, uri: str) -> None:
    secret = tmp_path / "secret.bin"
    secret.write_bytes(b"\0" * 12)
    folder = tmp_path / "model"
    folder.mkdir()
    (folder / "link.bin").symlink_to(secret)
    accessor = {"bufferView": 0, "componentType": 5126, "count": 3, "type": "SCALAR"}
    buffer = {"uri": uri.format(outside=secret.as_posix()), "byteLength": 12}
    with pytest.raises(UnreadableModel, match=r"outside|not there"):
        _model(folder, buffer, [accessor], [_view(12)]).accessor(0)


GOOD: dict[str, Any] = {"bufferView": 0, "componentType": 5126, "count": 3, "type": "SCALAR"}
SPARSE = {"count": 1, "indices": {"bufferView": 0, "componentType": 5121}, "values": {"bufferView": 0}}
BAD: list[tuple[dict[str, Any], dict[str, int], str]] = [
    ({**GOOD, "count": 4}, _view(12), "reaches beyond"),
    ({**GOOD, "byteOffset": 4}, _view(12), "reaches beyond"),
    (GOOD, _view(13), "reaches beyond"),
    (GOOD, _view(12, byteStride=2), "byteStride"),
    ({**GOOD, "componentType": 7}, _view(12), "type"),
    ({**GOOD, "type": "VEC9"}, _view(12), "type"),
    ({**GOOD, "count": -1}, _view(12), "whole number"),
    ({"componentType": 5126, "count": 10**12, "type": "VEC3"}, _view(12), "more than the limit of 128 MiB"),
    ({**GOOD, "bufferView": 5}, _view(12), "there are 1"),
    ({**GOOD, "sparse": {**SPARSE, "count": 2}}, _view(12), "rise strictly"),
    ({**GOOD, "sparse": {"count": 1}}, _view(12), "not an object"),
    ({**GOOD, "sparse": {**SPARSE, "indices": {"componentType": 5126}}}, _view(12), "indices"),
]


@pytest.mark.parametrize("number", range(len(BAD)))
def test_bounds_and_types_are_checked(tmp_path: Path, number: int) -> None:
    accessor, view, words = BAD[number]
    with pytest.raises(UnreadableModel, match=words):
        _arrays(tmp_path, b"\0" * 12, [accessor], [view]).accessor(0)


def test_values_that_are_no_numbers_and_short_buffers_are_refused(tmp_path: Path) -> None:
    data = np.array([np.nan, 0, 0], "<f4").tobytes()
    with pytest.raises(UnreadableModel, match="no usable numbers"):
        _arrays(tmp_path, data, [GOOD], [_view(12)]).accessor(0)
    buffer = {"uri": "data:;base64,AAAA", "byteLength": 12}
    with pytest.raises(UnreadableModel, match="3"):
        _model(tmp_path, buffer, [GOOD], [_view(12)]).accessor(0)
    with pytest.raises(UnreadableModel, match="base64"):
        _model(tmp_path, {"uri": "data:;base64,?", "byteLength": 1}, [GOOD], [_view(12)]).accessor(0)


def test_compressed_meshes_are_said_to_be_so(tmp_path: Path) -> None:
    path = tmp_path / "model.gltf"
    required = ["KHR_draco_mesh_compression"]
    path.write_text(json.dumps({"asset": {"version": "2.0"}, "extensionsRequired": required}))
    with pytest.raises(UnreadableModel, match="without compression"):
        GltfArrays(path)
