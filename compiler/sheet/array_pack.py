"""Numbers and pictures packed into one block of bytes, small after compression and quick to undo in a page.

Whole numbers stand as differences to the number before, column by column, and of those first all lowest bytes, then all
second bytes, and so on: what is alike then lies side by side. Everything else stands as it is. `page/unpacking.js` is
the reader.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

_KINDS: Final = {
    np.dtype(np.uint8): "u8",
    np.dtype(np.uint16): "u16",
    np.dtype(np.int16): "i16",
    np.dtype(np.uint32): "u32",
    np.dtype(np.float32): "f32",
}

_LEVEL: Final = 7
"""Of deflating: a third of a per cent larger than the smallest, in a third of the time."""


class ArrayPlace(NamedTuple):
    """Where an array stands in the block: its first byte, the kind of its numbers, columns and rows."""

    at: int
    kind: str
    width: int
    rows: int

    @property
    def size(self) -> int:
        """Its bytes."""
        return int(self.kind[1:]) // 8 * self.width * self.rows


class FilePlace(NamedTuple):
    """Where a file stands in the block: its first byte, its length, and its media type."""

    at: int
    size: int
    type: str


@dataclass
class ArrayPack:
    """A block that grows. `arrays` and `files`: what is in it, by name; parts: the bytes of each by
    its name, in their order."""

    arrays: dict[str, ArrayPlace] = field(default_factory=dict)
    files: dict[str, FilePlace] = field(default_factory=dict)
    parts: dict[str, bytes] = field(default_factory=dict)
    _size: int = 0

    def add(self, name: str, values: NDArray[Any]) -> None:
        """An array (n,) or (n, k) of 8, 16 or 32 bit numbers. Raises KeyError for other numbers."""
        rows = values.reshape(len(values), -1) if values.size else values.reshape(0, max(1, values.shape[-1]))
        kind = _KINDS[rows.dtype]
        data = np.ascontiguousarray(rows).tobytes() if kind == "f32" else _in_planes(rows)
        self.arrays[name] = ArrayPlace(self._put(name, data), kind, rows.shape[1], rows.shape[0])

    def add_file(self, name: str, content: bytes, media_type: str) -> None:
        """A file as it is."""
        self.files[name] = FilePlace(self._put(name, content), len(content), media_type)

    def take(self, other: ArrayPack) -> None:
        """Everything that is in another pack, after what is in this one."""
        self.arrays.update({name: one._replace(at=one.at + self._size) for name, one in other.arrays.items()})
        self.files.update({name: one._replace(at=one.at + self._size) for name, one in other.files.items()})
        self.parts.update(other.parts)
        self._size += other._size

    def add_stored(self, name: str, content: bytes, place: ArrayPlace) -> None:
        """An array as another pack has stored it."""
        self.arrays[name] = place._replace(at=self._put(name, content))

    def stored(self, name: str) -> bytes:
        """The bytes of an array or a file. Raises KeyError for a name that is not there."""
        return self.parts[name]

    def compressed(self) -> bytes:
        """The block, deflated (RFC 1951)."""
        deflating = zlib.compressobj(_LEVEL, zlib.DEFLATED, -15)
        return b"".join([*(deflating.compress(part) for part in self.parts.values()), deflating.flush()])

    def _put(self, name: str, data: bytes) -> int:
        at = self._size
        self.parts[name] = data
        self._size += len(data)
        return at


def _in_planes(rows: NDArray[Any]) -> bytes:
    """Column by column the differences from row to row, byte plane by byte plane, the lowest first."""
    planes = []
    for column in rows.T:
        wide = column.astype(np.int64)
        differences = np.diff(wide, prepend=0).astype(rows.dtype)
        octets = np.ascontiguousarray(differences).astype(rows.dtype.newbyteorder("<")).view(np.uint8)
        planes.append(np.ascontiguousarray(octets.reshape(len(column), rows.itemsize).T).tobytes())
    return b"".join(planes)


def whole_shares(weights: NDArray[np.float64], most: int) -> NDArray[np.int64]:
    """Weights (v, k) that add up to 1 as whole numbers that add up to `most` exactly, each at most 1 off.

    What rounding down leaves goes to the largest remainders, one each. Rows without weights stay 0.
    """
    exact = weights * most
    floor = np.floor(exact + 1e-9)
    left = np.rint(exact.sum(axis=1) - floor.sum(axis=1)).astype(np.int64)
    rank = np.argsort(np.argsort(-(exact - floor), axis=1, kind="stable"), axis=1, kind="stable")
    return np.asarray(floor.astype(np.int64) + (rank < left[:, np.newaxis]))
