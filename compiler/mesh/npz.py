"""NPZ files (numpy's archive of arrays) without pickle: written byte-identical from run to run, read with
care.
"""

from __future__ import annotations

import io
import struct
import tokenize
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Mapping, Sequence
from math import prod
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Integers, Offsets
from plica.readers.allowance import Allowance, OverLimit
from plica.readers.json_fields import LARGEST_NUMBER

_STAMP: Final = (1980, 1, 1, 0, 0, 0)  # the earliest date that a zip file can hold
_BYTES_AT_ONCE: Final = 1 << 18
_METHODS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # what numpy writes; others take memory of their own
_HEADERS: Final = {(1, 0): np.lib.format.read_array_header_1_0, (2, 0): np.lib.format.read_array_header_2_0}
_KINDS: Final = "biufU"  # truth values, whole numbers, numbers and texts
_LARGEST_CODE_POINT: Final = 0x10FFFF
_SURROGATES: Final = (0xD800, 0xDFFF)


class ArchiveError(ValueError):
    """The file is no NPZ that can be used; the text says why."""


class LargeArchiveError(OverLimit, ArchiveError):
    """An archive that unpacks to more than the limit."""


def written(arrays: Mapping[str, NDArray[Any]]) -> bytes:
    """The arrays as an NPZ file, in the order given, compressed."""
    return written_one_by_one(arrays.items())


def written_one_by_one(arrays: Iterable[tuple[str, NDArray[Any]]]) -> bytes:
    """Named arrays as an NPZ file; each is compressed as it comes, so that they need not be there at once.

    Raises ValueError for two of one name.
    """
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as file:
        for name, values in arrays:
            if f"{name}.npy" in file.NameToInfo:
                raise ValueError(f"two arrays are called {name}")
            member = io.BytesIO()
            np.lib.format.write_array(member, np.ascontiguousarray(values).reshape(values.shape), allow_pickle=False)
            entry = zipfile.ZipInfo(f"{name}.npy", date_time=_STAMP)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3  # else the zip tells on which system it was made
            entry.external_attr = 0o644 << 16
            file.writestr(entry, member.getvalue())
    return content.getvalue()


def arrays_of(data: bytes) -> dict[str, NDArray[Any]]:
    """All arrays of an NPZ file: of truth values, numbers or texts. Raises ArchiveError."""
    try:
        with warnings.catch_warnings(), zipfile.ZipFile(io.BytesIO(data)) as file:
            warnings.simplefilter("ignore")  # about headers in the way of Python 2
            entries = file.infolist()
            _check_sizes(entries, len(data))
            arrays = {entry.filename: _array(file, entry) for entry in entries}
    except ArchiveError:
        raise
    # What the zip and array formats' readers answer damaged files with.
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, zlib.error, NotImplementedError,
            RuntimeError, SyntaxError, TypeError, OverflowError, MemoryError, tokenize.TokenError,
            struct.error) as error:  # fmt: skip
        raise ArchiveError(f"it is no NPZ file of plain arrays, or a damaged one ({type(error).__name__})") from None
    if len(arrays) != len(entries):
        raise ArchiveError("it holds two arrays of one name")
    return {name.removesuffix(".npy"): values for name, values in arrays.items()}


def _check_sizes(entries: Sequence[zipfile.ZipInfo], file_bytes: int) -> None:
    """The sizes that the archive states are never exceeded: the zip reader stops there. Raises LargeArchiveError."""
    allowance = Allowance(file_bytes)
    try:
        for entry in entries:
            allowance.take(entry.file_size, "the archive, unpacked,")
    except OverLimit as error:
        raise LargeArchiveError(**error.values) from None


def _array(file: zipfile.ZipFile, entry: zipfile.ZipInfo) -> NDArray[Any]:
    """One array, made only where the header's shape is what the member holds. Raises ArchiveError among others."""
    name = entry.filename.removesuffix(".npy")
    if name == entry.filename:
        raise ArchiveError(f"`{name}` is no array")
    if entry.compress_type not in _METHODS:
        raise ArchiveError(f"`{name}` is packed in a way that is not read")
    with file.open(entry) as member:
        header = _HEADERS.get(np.lib.format.read_magic(member))
        if header is None:
            raise ArchiveError(f"`{name}` is an array of another version")
        shape, by_columns, kind = header(member)
        if kind.kind not in _KINDS:
            raise ArchiveError(f"`{name}` is not an array of numbers or texts")
        count = prod(shape)
        if min(shape, default=0) < 0 or count * kind.itemsize != entry.file_size - member.tell():
            raise ArchiveError(f"the size of `{name}` is not what its header says")
        flat = np.empty(count, kind)
        if flat.nbytes:
            rest = flat.view(np.uint8)
            for start in range(0, len(rest), _BYTES_AT_ONCE):
                part = member.read(min(_BYTES_AT_ONCE, len(rest) - start))
                rest[start : start + len(part)] = np.frombuffer(part, np.uint8)
        if member.read(1):  # also makes the checksum count
            raise ArchiveError(f"the size of `{name}` is not what its header says")
    if kind.kind == "U":
        _check_text(flat, name)
    return flat.reshape(shape[::-1]).transpose() if by_columns else flat.reshape(shape)


def _check_text(flat: NDArray[Any], name: str) -> None:
    """Raises ArchiveError where an array of texts holds what is no character."""
    points = flat.view(flat.dtype.str[0] + "u4") if flat.nbytes else np.zeros(0, np.uint32)
    first, last = _SURROGATES
    if np.any((points > _LARGEST_CODE_POINT) | ((points >= first) & (points <= last))):
        raise ArchiveError(f"`{name}` holds what is no text")


def rising_indices(values: NDArray[Any], vertex_count: int | None, name: str) -> Integers:
    """An array of vertex indices (n,), checked: whole numbers, strictly rising, from 0, below the number of
    vertices.

    Raises ArchiveError.
    """
    if values.ndim != 1 or values.dtype.kind not in "iu":
        raise ArchiveError(f"`{name}` is not a list of whole numbers")
    indices: Integers = values.astype(np.int64)
    if len(indices) and (indices[0] < 0 or not (np.diff(indices) > 0).all()):
        raise ArchiveError(f"`{name}` does not rise from 0 on")
    if vertex_count is not None and len(indices) and indices[-1] >= vertex_count:
        raise ArchiveError(f"`{name}` goes up to {indices[-1]}, but the mesh has {vertex_count} vertices")
    return indices


def sparse_offsets(arrays: Mapping[str, NDArray[Any]], vertex_count: int, prefix: str = "") -> Offsets:
    """The arrays `indices` (n,) and `offsets` (n, 3) metres, with a prefix to their names, checked.

    Raises ArchiveError.
    """
    for name in (f"{prefix}indices", f"{prefix}offsets"):
        if name not in arrays:
            raise ArchiveError(f"it lacks the array `{name}`")
    indices = rising_indices(arrays[f"{prefix}indices"], vertex_count, f"{prefix}indices")
    offsets = arrays[f"{prefix}offsets"]
    if offsets.shape != (len(indices), 3) or offsets.dtype.kind != "f":
        raise ArchiveError(f"`{prefix}offsets` is not one vector for each of `{prefix}indices`")
    if not np.all(np.abs(offsets) <= LARGEST_NUMBER):  # also false for what is no number
        raise ArchiveError(f"`{prefix}offsets` holds values that are no usable numbers")
    return Offsets(indices, offsets.astype(np.float64))


def stated_vertex_count(arrays: Mapping[str, NDArray[Any]]) -> int | None:
    """The `vertex_count` that a file states of its mesh, if it does. Raises ArchiveError."""
    if "vertex_count" not in arrays:
        return None
    stated = arrays["vertex_count"]
    if stated.shape not in ((), (1,)) or stated.dtype.kind not in "iu":
        raise ArchiveError("`vertex_count` is not a whole number")
    count = int(stated.reshape(-1)[0])
    if count < 0:
        raise ArchiveError("`vertex_count` is negative")
    return count
