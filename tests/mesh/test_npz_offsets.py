"""Sculpts as NPZ offsets, well-meant and hostile."""

from __future__ import annotations

import io
import pickle
import zipfile
from typing import Any

import numpy as np
import pytest

from plica.mesh.npz_offsets import parse_npz_offsets
from plica.readers.model_outline import UnreadableModel

GOOD: dict[str, Any] = {
    "indices": np.array([1, 4], np.int32),
    "offsets": np.array([(0.0, 0.5, 0.0), (1.0, 0.0, 0.0)], np.float32),
    "vertex_count": np.array(5),
}


def stored(**changes: Any) -> bytes:
    content = io.BytesIO()
    kept = {name: values for name, values in (GOOD | changes).items() if values is not None}
    np.savez_compressed(content, allow_pickle=True, **kept)
    return content.getvalue()


def test_what_is_stored() -> None:
    result = parse_npz_offsets(stored(fingerprint=np.array("1:5:a:b:c")))
    assert (result.vertex_count, result.fingerprint) == (5, "1:5:a:b:c")
    np.testing.assert_array_equal(result.offsets.indices, GOOD["indices"])
    np.testing.assert_array_equal(result.offsets.offsets, GOOD["offsets"])
    assert parse_npz_offsets(stored()).fingerprint is None
    assert parse_npz_offsets(stored(indices=np.zeros(0, int), offsets=np.zeros((0, 3)))).offsets.count == 0


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"indices": None}, "lacks the array `indices`"),
        ({"vertex_count": None}, "lacks the array `vertex_count`"),
        ({"vertex_count": np.array(4)}, "4 vertices"),
        ({"vertex_count": np.array(-1)}, "negative"),
        ({"vertex_count": np.array([1, 2])}, "not a whole number"),
        ({"indices": np.array([1.0, 4.0])}, "whole numbers"),
        ({"indices": np.array([4, 1])}, "rise"),
        ({"indices": np.array([1, 1])}, "rise"),
        ({"indices": np.array([-1, 4])}, "rise"),
        ({"indices": np.array([[1, 4]])}, "whole numbers"),
        ({"offsets": np.zeros((3, 3))}, "one vector for each"),
        ({"offsets": np.zeros(6)}, "one vector for each"),
        ({"offsets": np.zeros((2, 3), complex)}, "numbers or texts"),
        ({"offsets": np.full((2, 3), np.nan)}, "no usable numbers"),
        ({"offsets": np.full((2, 3), np.inf)}, "no usable numbers"),
        ({"offsets": np.array([[None] * 3] * 2)}, "numbers or texts"),
        ({"fingerprint": np.array(3)}, "`fingerprint`"),
        ({"fingerprint": np.array("x" * 10_000)}, "`fingerprint`"),
    ],
)
def test_wrong_arrays(changes: dict[str, Any], told: str) -> None:
    with pytest.raises(UnreadableModel, match=told):
        parse_npz_offsets(stored(**changes))


class _Trap:
    """Unpickling it would end the test."""

    def __reduce__(self) -> tuple[Any, ...]:
        return (pytest.fail, ("a pickle was opened",))


def _zipped(members: dict[str, bytes]) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in members.items():
            file.writestr(name, data)
    return content.getvalue()


def _header(shape: str, kind: str = "<f8") -> bytes:
    text = f"{{'descr': '{kind}', 'fortran_order': False, 'shape': {shape}, }}\n".encode()
    return b"\x93NUMPY\x01\x00" + len(text).to_bytes(2, "little") + text


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"PK\x03\x04",
        pickle.dumps(_Trap()),
        _zipped({"indices.npy": pickle.dumps(_Trap())}),
        _zipped({"indices.npy": _header("(1,)", "|O") + pickle.dumps([_Trap()])}),
        _zipped({"indices.npy": _header("(1000000000000000,)")}),
        _zipped({"indices.npy": _header("(-1,)")}),
        _zipped({"indices.npy": _header("(" * 5000)}),
        stored()[:-30],
    ],
)
def test_hostile_files(data: bytes) -> None:
    with pytest.raises(UnreadableModel):
        parse_npz_offsets(data)


def test_archives_that_unpack_to_far_too_much_are_refused_unopened() -> None:
    # The size that the archive states of its content is raised beyond the limit.
    data = bytearray(_zipped({"indices.npy": _header("(8,)") + bytes(64)}))
    place = data.rindex(b"PK\x01\x02") + 24
    data[place : place + 4] = (0xFFFFFFFE).to_bytes(4, "little")
    second = bytes(data)
    with pytest.raises(UnreadableModel):
        parse_npz_offsets(second)
