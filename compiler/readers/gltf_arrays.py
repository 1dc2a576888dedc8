"""The binary data of a glTF 2.0 file as numpy arrays (sections 3.6.1 and 3.6.2).

Buffers come from the container's binary chunk, from data URIs and from files in the model's own folder;
nothing outside of it is opened. Every offset is checked against the data before it is used.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plica.readers.allowance import Allowance
from plica.readers.gltf_document import (
    BINARY_CHUNK,
    bytes_of_data_uri,
    chunk_place,
    content,
    is_data,
    open_regular,
    place_of_uri,
    read_document,
)
from plica.readers.json_fields import LARGEST_NUMBER, Fields, fields, index, index_of, objects, text, whole
from plica.readers.model_outline import UnreadableModel

# Section 3.6.2.2: component types and element types.
COMPONENTS: dict[int, np.dtype[np.generic]] = {
    5120: np.dtype("<i1"),
    5121: np.dtype("<u1"),
    5122: np.dtype("<i2"),
    5123: np.dtype("<u2"),
    5125: np.dtype("<u4"),
    5126: np.dtype("<f4"),
}
ELEMENTS: dict[str, tuple[int, int]] = {  # rows, columns; a vector is one column
    "SCALAR": (1, 1),
    "VEC2": (2, 1),
    "VEC3": (3, 1),
    "VEC4": (4, 1),
    "MAT2": (2, 2),
    "MAT3": (3, 3),
    "MAT4": (4, 4),
}
Elements = NDArray[Any]  # of the accessor's own component type
NUMBER_BYTES = 8  # of one number, whatever its size in the file
COMPRESSED = ("KHR_draco_mesh_compression", "EXT_meshopt_compression", "KHR_meshopt_compression")


class GltfArrays:
    """A glTF file whose accessors can be asked for. Buffers are read once, when first needed."""

    def __init__(self, path: Path) -> None:
        """Raises UnreadableModel."""
        self.path = path
        self.document = read_document(path)
        required = self.document.get("extensionsRequired")
        for extension in required if isinstance(required, list) else []:
            if extension in COMPRESSED:
                raise UnreadableModel(f"its meshes are compressed ({extension}); write it without compression")
        self._accessors = objects(self.document, "accessors", "the file")
        self._views = objects(self.document, "bufferViews", "the file")
        self._buffers = objects(self.document, "buffers", "the file")
        self._data: dict[int, bytes] = {}
        self._files: dict[Path, bytes] = {}
        with open_regular(path) as stream:
            self._allowance = Allowance(stream.seek(0, os.SEEK_END))

    def take(self, count: int, what: str) -> None:
        """Counts the bytes of arrays that are about to be made. Raises OverLimit where the file is too small."""
        self._allowance.take(count, what, self._read_every_buffer)

    def number_of(self, reference: object, place: str) -> int | None:
        """The number of the accessor that a reference means; None for none. Raises UnreadableModel."""
        return None if reference is None else index_of(reference, len(self._accessors), place)

    def accessor(self, number: object) -> Elements:
        """The accessor's elements: (count,), (count, components) or (count, rows, columns).

        Floats and normalised integers as float64, other integers as they are stored. Raises UnreadableModel.
        """
        position = index_of(number, len(self._accessors), "an accessor reference")
        place = f"accessors[{position}]"
        accessor = self._accessors[position]
        count = whole(accessor, "count", 0, place)
        component, (rows, columns) = _types(accessor, place)
        self.take(count * rows * columns * NUMBER_BYTES, place)
        view = index(accessor, "bufferView", len(self._views), place)
        if view is not None:
            start = whole(accessor, "byteOffset", 0, place)
            result = self._elements(view, start, count, component, rows, columns, place)
        else:
            result = np.zeros((count, columns, rows), component)  # section 3.6.2.3: without data they are zeros
        if accessor.get("sparse") is not None:
            result = self._with_sparse(fields(accessor["sparse"], f"{place}.sparse"), result, place)
        values = _decoded(result, accessor.get("normalized") is True)
        if values.dtype.kind == "f" and not np.all(np.abs(values) <= LARGEST_NUMBER):  # also false for what is none
            raise UnreadableModel(f"{place} holds values that are no usable numbers")
        if columns == 1:
            return values[:, 0, 0] if rows == 1 else values[:, 0, :]
        return values.transpose(0, 2, 1)  # stored column by column

    def _elements(
        self,
        view_number: int,
        start: int,
        count: int,
        component: np.dtype[np.generic],
        rows: int,
        columns: int,
        place: str,
    ) -> Elements:
        """A copy of the elements in a buffer view, (count, columns, rows)."""
        view = self._views[view_number]
        here = f"bufferViews[{view_number}]"
        data = self._view_data(view_number)
        column_stride = rows * component.itemsize
        if columns > 1:
            column_stride = (column_stride + 3) // 4 * 4  # columns begin at multiples of four bytes
        size = column_stride * (columns - 1) + rows * component.itemsize
        stride = whole(view, "byteStride", 0, here) or max(size, column_stride * columns)
        if stride < size:
            raise UnreadableModel(f"{here}.byteStride is smaller than the elements of {place}")
        if count and start + stride * (count - 1) + size > len(data):
            raise UnreadableModel(f"{place} reaches beyond {here}")
        if count == 0:
            return np.zeros((0, columns, rows), component)
        return np.ndarray(
            (count, columns, rows), component, data, start, (stride, column_stride, component.itemsize)
        ).copy()

    def _with_sparse(self, sparse: Fields, result: Elements, place: str) -> Elements:
        """The elements with some replaced (section 3.6.2.3)."""
        here = f"{place}.sparse"
        count = whole(sparse, "count", 0, here)
        where = fields(sparse.get("indices"), f"{here}.indices")
        what = fields(sparse.get("values"), f"{here}.values")
        kind = COMPONENTS.get(whole(where, "componentType", 0, f"{here}.indices"))
        if kind is None or kind.kind != "u":
            raise UnreadableModel(f"{here}.indices has a component type that indices cannot have")
        index_view = index(where, "bufferView", len(self._views), f"{here}.indices")
        value_view = index(what, "bufferView", len(self._views), f"{here}.values")
        if index_view is None or value_view is None:
            raise UnreadableModel(f"{here} has no data")
        start = whole(where, "byteOffset", 0, f"{here}.indices")
        positions = self._elements(index_view, start, count, kind, 1, 1, here)[:, 0, 0].astype(np.int64)
        if count and (np.any(np.diff(positions) <= 0) or positions[-1] >= len(result)):
            raise UnreadableModel(f"{here}.indices do not rise strictly within the accessor")
        _, columns, rows = result.shape
        start = whole(what, "byteOffset", 0, f"{here}.values")
        result[positions] = self._elements(value_view, start, count, result.dtype, rows, columns, here)
        return result

    def _view_data(self, number: int) -> memoryview:
        view = self._views[number]
        place = f"bufferViews[{number}]"
        buffer = index(view, "buffer", len(self._buffers), place)
        if buffer is None:
            raise UnreadableModel(f"{place} has no buffer")
        data = self._buffer(buffer)
        start, size = whole(view, "byteOffset", 0, place), whole(view, "byteLength", 0, place)
        if start + size > len(data):
            raise UnreadableModel(f"{place} reaches beyond buffers[{buffer}]")
        return memoryview(data)[start : start + size]

    def _buffer(self, number: int) -> bytes:
        if number not in self._data:
            place = f"buffers[{number}]"
            uri = text(self._buffers[number], "uri", place)
            if uri is not None and is_data(uri):
                data = bytes_of_data_uri(uri, place)
            elif uri is not None:
                data = self._bytes_of_file(uri, place)
            elif number == 0:
                data = self._binary_chunk()
            else:
                raise UnreadableModel(f"{place} has no data")
            size = whole(self._buffers[number], "byteLength", 0, place)
            if len(data) < size:
                raise UnreadableModel(f"{place} is {size} bytes long, but its data are {len(data)}")
            self._data[number] = data
        return self._data[number]

    def _bytes_of_file(self, uri: str, place: str) -> bytes:
        """The bytes of a file beside the model, read once however many buffers name it."""
        try:
            file = place_of_uri(uri, self.path.parent)
            if file not in self._files:
                self._files[file] = content(file)
                self._allowance.file_bytes += len(self._files[file])
        except UnreadableModel as error:
            raise UnreadableModel(f"{place}, `{uri[:80]}`: {error}") from error
        return self._files[file]

    def _read_every_buffer(self) -> None:
        """What a model holds is all of its files, also those that nothing has asked for yet."""
        for number in range(len(self._buffers)):
            self._buffer(number)

    def _binary_chunk(self) -> bytes:
        with open_regular(self.path) as stream:
            place = chunk_place(stream, BINARY_CHUNK)
            if place is None:
                raise UnreadableModel("buffers[0] has neither a uri nor a binary chunk")
            stream.seek(place[0])
            return stream.read(place[1])


def _types(accessor: Fields, place: str) -> tuple[np.dtype[np.generic], tuple[int, int]]:
    component = COMPONENTS.get(whole(accessor, "componentType", 0, place))
    element = ELEMENTS.get(text(accessor, "type", place) or "")
    if component is None or element is None:
        raise UnreadableModel(f"{place} has a type that glTF 2.0 does not know")
    return component, element


def _decoded(result: Elements, normalised: bool) -> Elements:
    """Floats as float64; normalised integers to 0..1 or -1..1 (section 3.6.2.2)."""
    if result.dtype.kind == "f":
        with np.errstate(invalid="ignore"):  # what is no number is refused by the caller
            return result.astype(np.float64)
    if not normalised:
        return result
    bits = 8 * result.dtype.itemsize - (1 if result.dtype.kind == "i" else 0)
    largest = 2.0**bits - 1.0
    return np.maximum(result.astype(np.float64) / largest, -1.0)
