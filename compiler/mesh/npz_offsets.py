"""A sculpt in an NPZ file: as offsets, which vertices moved and by how much, or as a whole mesh.

Offsets: `indices` (n,) whole numbers, strictly rising; `offsets` (n, 3) metres; `vertex_count`, a whole number; if
there, `fingerprint`, the text of `plica.mesh.fingerprint` for the neutral mesh that the sculpt was made over, and what
`plica.mesh.draft_layer` says of a computed one. A whole mesh: `positions` (v, 3) metres, y up, and `triangles` (t, 3).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Integers, Offsets
from plica.mesh.draft_layer import DraftLayer, read_draft
from plica.mesh.npz import ArchiveError, LargeArchiveError, arrays_of, sparse_offsets, stated_vertex_count
from plica.readers.gltf_document import content
from plica.readers.json_fields import LARGEST_NUMBER
from plica.readers.model_outline import UnreadableModel

LONGEST_FINGERPRINT = 200  # characters


@dataclass(frozen=True, eq=False)
class StoredOffsets:
    """What the file says: the number of vertices of its mesh, the offsets, and the neutral's fingerprint if stated.

    A whole mesh has positions (v, 3) and, if stated, triangles (t, 3) instead of offsets. draft: the layer of the
    offsets that was computed, if any.
    """

    vertex_count: int
    offsets: Offsets
    fingerprint: str | None
    positions: Floats | None = None
    triangles: Integers | None = None
    draft: DraftLayer | None = None


def read_npz_offsets(path: Path) -> StoredOffsets:
    """The offsets in a file. Raises UnreadableModel."""
    return parse_npz_offsets(content(path))


def parse_npz_offsets(data: bytes) -> StoredOffsets:
    """The offsets in a file's bytes. Raises UnreadableModel."""
    try:
        arrays = arrays_of(data)
        if "positions" in arrays:
            return _whole(arrays)
        count = stated_vertex_count(arrays)
        if count is None:
            raise ArchiveError("it lacks the array `vertex_count`")
        offsets = sparse_offsets(arrays, count)
        draft = read_draft(arrays, count, offsets)
    except LargeArchiveError:
        raise
    except ArchiveError as error:
        raise UnreadableModel(str(error)) from error
    return StoredOffsets(count, offsets, _fingerprint(arrays), draft=draft)


def _fingerprint(arrays: Mapping[str, NDArray[Any]]) -> str | None:
    if "fingerprint" not in arrays:
        return None
    stated = arrays["fingerprint"]
    if stated.shape != () or stated.dtype.kind != "U" or stated.dtype.itemsize > 4 * LONGEST_FINGERPRINT:
        raise UnreadableModel("`fingerprint` is not a short text")
    return str(stated)


def _whole(arrays: Mapping[str, NDArray[Any]]) -> StoredOffsets:
    positions = arrays["positions"]
    if positions.ndim != 2 or positions.shape[1] != 3 or positions.dtype.kind != "f" or not len(positions):
        raise UnreadableModel("`positions` is not one place for each vertex")
    if not np.all(np.abs(positions) <= LARGEST_NUMBER):
        raise UnreadableModel("`positions` holds values that are no usable numbers")
    triangles = None
    if "triangles" in arrays:
        triangles = arrays["triangles"]
        if triangles.ndim != 2 or triangles.shape[1] != 3 or triangles.dtype.kind not in "iu":
            raise UnreadableModel("`triangles` is not three vertices for each triangle")
        triangles = triangles.astype(np.int64)
        if len(triangles) and not 0 <= triangles.min() <= triangles.max() < len(positions):
            raise UnreadableModel("`triangles` names vertices that are not there")
    none = Offsets(np.zeros(0, np.int64), np.zeros((0, 3)))
    return StoredOffsets(len(positions), none, _fingerprint(arrays), positions.astype(np.float64), triangles)
