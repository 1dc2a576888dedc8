"""Binary data that are added to a glTF 2.0 document, with the accessors and buffer views that tell of them."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Integers

Singles = NDArray[np.float32]
Document = dict[str, Any]

FLOAT: Final = 5126  # section 3.6.2.2
UNSIGNED_SHORT: Final = 5123
UNSIGNED_INT: Final = 5125
VECTOR_BYTES: Final = 12
VERTICES: Final = 34962
INDICES: Final = 34963
"""What buffer views are bound to (section 5.11.5)."""
_TYPES: Final = {1: "SCALAR", 2: "VEC2", 3: "VEC3", 4: "VEC4", 16: "MAT4"}
_COMPONENTS: Final = {
    np.dtype("<f4"): FLOAT,
    np.dtype("<u2"): UNSIGNED_SHORT,
    np.dtype("<u4"): UNSIGNED_INT,
}


class Additions:
    """New views of one buffer of a document; the same numbers in the same order give the same bytes."""

    def __init__(self, document: Document, buffer: int) -> None:
        """`buffer`: the number of the buffer that the data will be in."""
        self._document, self._buffer = document, buffer
        self._views: list[tuple[dict[str, Any], list[bytes]]] = []
        self._streams: dict[str, int] = {}
        self._sizes: list[int] = []
        self._zeros: dict[int, int] = {}

    @property
    def size(self) -> int:
        """How many bytes were added, without what aligns them."""
        return sum(self._sizes)

    def dense(self, values: NDArray[Any], *, bounds: bool = False, target: int | None = None) -> int:
        """An accessor with a view of its own for values (n,) or (n, width), as they are stored.

        bounds: whether it states its least and greatest; target: what the view is bound to (section 5.11.5).
        """
        rows = values.reshape(len(values), -1)
        view = self._view() if target is None else self._view(target=target)
        self._put(view, rows.tobytes())
        held: dict[str, Any] = {"bufferView": self._number(view), "componentType": _COMPONENTS[values.dtype]}
        held |= {"count": len(rows), "type": _TYPES[rows.shape[1]]}
        if bounds:
            held |= {"min": rows.min(axis=0).tolist(), "max": rows.max(axis=0).tolist()}
        return self._accessor(held)

    def vectors(self, count: int, indices: Integers, values: Singles, *, bounds: bool) -> int:
        """An accessor of `count` vectors that are 0 but for some: values (n, 3) at indices (n,), strictly rising.

        Sparse where that is smaller (section 3.6.2.3), else stored in full.
        """
        if not len(indices):
            return self.zeros(count)
        kind, component = (np.dtype("<u2"), UNSIGNED_SHORT) if count <= 2**16 else (np.dtype("<u4"), UNSIGNED_INT)
        if len(indices) * (kind.itemsize + VECTOR_BYTES) > count * VECTOR_BYTES:
            whole = np.zeros((count, 3), np.dtype("<f4"))
            whole[indices] = values
            return self.dense(whole, bounds=bounds, target=VERTICES)
        held: dict[str, Any] = {"componentType": FLOAT, "count": count, "type": "VEC3"}
        if bounds:
            least, greatest = values.min(axis=0), values.max(axis=0)
            if len(indices) < count:
                least, greatest = np.minimum(least, 0.0), np.maximum(greatest, 0.0)
            held |= {"min": least.tolist(), "max": greatest.tolist()}
        where = self._appended(f"indices of {component}", indices.astype(kind).tobytes())
        what = self._appended("vectors", values.astype(np.dtype("<f4"), copy=False).tobytes())
        held["sparse"] = {"count": len(indices), "indices": {**where, "componentType": component}, "values": what}
        return self._accessor(held)

    def zeros(self, count: int) -> int:
        """An accessor of `count` vectors that are all 0, which needs no data (section 3.6.2.3); the same for each."""
        if count not in self._zeros:
            held = {"componentType": FLOAT, "count": count, "type": "VEC3", "min": [0.0] * 3, "max": [0.0] * 3}
            self._zeros[count] = self._accessor(held)
        return self._zeros[count]

    def joined(self, start: int) -> bytes:
        """All data, each view from a multiple of four; the first begins at `start` in the buffer."""
        parts: list[bytes] = []
        offset = start
        for (view, pieces), size in zip(self._views, self._sizes, strict=True):
            view |= {"byteOffset": offset, "byteLength": size}
            parts += [*pieces, bytes(-size % 4)]
            offset += size + -size % 4
        return b"".join(parts)

    def _view(self, **members: int) -> int:
        view = {"buffer": self._buffer, "byteOffset": 0, "byteLength": 0, **members}
        self._document.setdefault("bufferViews", []).append(view)
        self._views.append((view, []))
        self._sizes.append(0)
        return len(self._views) - 1

    def _number(self, view: int) -> int:
        """The number in the document of one of the new views; nobody else adds any meanwhile."""
        return len(self._document["bufferViews"]) - len(self._views) + view

    def _put(self, view: int, data: bytes) -> int:
        """Where the data begin in the view."""
        start = self._sizes[view]
        self._views[view][1].append(data)
        self._sizes[view] += len(data)
        return start

    def _appended(self, stream: str, data: bytes) -> dict[str, int]:
        """A place in the view that many accessors share."""
        if stream not in self._streams:
            self._streams[stream] = self._view()
        view = self._streams[stream]
        start = self._put(view, data)
        return {"bufferView": self._number(view), "byteOffset": start}

    def _accessor(self, held: dict[str, Any]) -> int:
        accessors: list[dict[str, Any]] = self._document.setdefault("accessors", [])
        accessors.append(held)
        return len(accessors) - 1
