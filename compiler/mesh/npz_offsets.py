"""A sculpt as offsets in an NPZ file: which vertices moved, and by how much.

`indices` (n,) whole numbers, strictly rising; `offsets` (n, 3) metres; `vertex_count`, a whole number; if there,
`fingerprint`, the text of `plica.mesh.fingerprint` for the neutral mesh that the sculpt was made over.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from plica.mesh.arrays import Offsets
from plica.mesh.npz import ArchiveError, LargeArchiveError, arrays_of, rising_indices, stated_vertex_count
from plica.readers.gltf_document import content
from plica.readers.json_fields import LARGEST_NUMBER
from plica.readers.model_outline import UnreadableModel

LONGEST_FINGERPRINT = 200  # characters


@dataclass(frozen=True, eq=False)
class StoredOffsets:
    """What the file says: the number of vertices of its mesh, the offsets, and the neutral's fingerprint if stated."""

    vertex_count: int
    offsets: Offsets
    fingerprint: str | None


def read_npz_offsets(path: Path) -> StoredOffsets:
    """The offsets in a file. Raises UnreadableModel."""
    return parse_npz_offsets(content(path))


def parse_npz_offsets(data: bytes) -> StoredOffsets:
    """The offsets in a file's bytes. Raises UnreadableModel."""
    try:
        arrays = arrays_of(data)
        for name in ("indices", "offsets", "vertex_count"):
            if name not in arrays:
                raise ArchiveError(f"it lacks the array `{name}`")
        count = stated_vertex_count(arrays)
        assert count is not None
        indices = rising_indices(arrays["indices"], count, "indices")
    except LargeArchiveError:
        raise
    except ArchiveError as error:
        raise UnreadableModel(str(error)) from error
    offsets = arrays["offsets"]
    if offsets.shape != (len(indices), 3) or offsets.dtype.kind != "f":
        raise UnreadableModel("`offsets` is not one vector for each of `indices`")
    if not np.all(np.abs(offsets) <= LARGEST_NUMBER):  # also false for what is no number
        raise UnreadableModel("`offsets` holds values that are no usable numbers")
    fingerprint = None
    if "fingerprint" in arrays:
        stated = arrays["fingerprint"]
        if stated.shape != () or stated.dtype.kind != "U" or stated.dtype.itemsize > 4 * LONGEST_FINGERPRINT:
            raise UnreadableModel("`fingerprint` is not a short text")
        fingerprint = str(stated)
    return StoredOffsets(count, Offsets(indices, offsets.astype(np.float64)), fingerprint)
