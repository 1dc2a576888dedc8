"""NPZ files (numpy's archive of arrays) without pickle: written byte-identical from run to run, read with
care.
"""

from __future__ import annotations

import io
import struct
import tokenize
import zipfile
import zlib
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Integers

_STAMP: Final = (1980, 1, 1, 0, 0, 0)  # the earliest date that a zip file can hold
MAX_BYTES: Final = 1024**3
"""No archive may unpack to more."""


class ArchiveError(ValueError):
    """The file is no NPZ that can be used; the text says why."""


def written(arrays: Mapping[str, NDArray[Any]]) -> bytes:
    """The arrays as an NPZ file, in the order given, compressed."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as file:
        for name, values in arrays.items():
            member = io.BytesIO()
            np.lib.format.write_array(member, np.ascontiguousarray(values).reshape(values.shape), allow_pickle=False)
            entry = zipfile.ZipInfo(f"{name}.npy", date_time=_STAMP)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3  # else the zip tells on which system it was made
            entry.external_attr = 0o644 << 16
            file.writestr(entry, member.getvalue())
    return content.getvalue()


def arrays_of(data: bytes) -> dict[str, NDArray[Any]]:
    """All arrays of an NPZ file. Raises ArchiveError."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as file:
            if sum(entry.file_size for entry in file.infolist()) > MAX_BYTES:
                raise ArchiveError("it unpacks to more than 1 GiB")
        with np.load(io.BytesIO(data), allow_pickle=False) as archive:
            arrays = {name: archive[name] for name in archive.files}
    except ArchiveError:
        raise
    # What the zip and array formats' readers answer damaged files with.
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, zlib.error, NotImplementedError,
            RuntimeError, SyntaxError, TypeError, OverflowError, MemoryError, tokenize.TokenError,
            struct.error) as error:  # fmt: skip
        raise ArchiveError(f"it is no NPZ file of plain arrays, or a damaged one ({type(error).__name__})") from None
    for name, values in arrays.items():
        if not isinstance(values, np.ndarray):  # numpy hands on the bytes of what is no array
            raise ArchiveError(f"`{name}` is no array")
    return arrays


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


def stated_vertex_count(arrays: Mapping[str, NDArray[Any]]) -> int | None:
    """The `vertex_count` that a file states of its mesh, if it does. Raises ArchiveError."""
    if "vertex_count" not in arrays:
        return None
    stated = arrays["vertex_count"]
    if stated.shape not in ((), (1,)) or stated.dtype.kind not in "iu":
        raise ArchiveError("`vertex_count` is not a whole number")
    return int(stated.reshape(-1)[0])
