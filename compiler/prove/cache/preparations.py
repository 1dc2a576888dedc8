"""What a measure works out once for a mesh, kept as arrays: written and read without pickle.

A preparation is a dataclass of arrays, sparse matrices, numbers, texts and dataclasses of such. It becomes NumPy's .npz
(a ZIP archive of .npy arrays) whose members are named after the way through its fields, `tree.leaves`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from io import BytesIO
from typing import Any, Final, Protocol, TypeVar, get_origin, get_type_hints
from zipfile import BadZipFile, ZipFile, ZipInfo

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from plica.mesh.arrays import Floats

Prepared = TypeVar("Prepared")
Arrays = Mapping[str, NDArray[Any]]

_SPARSE: Final = ("data", "indices", "indptr", "shape")


class Recall(Protocol):
    """Gives what `prepare` gives, which depends on the mesh, its rest pose and these regions and nothing else; maybe
    without doing it."""

    def __call__(
        self, kind: type[Prepared], regions: tuple[Floats, ...], prepare: Callable[[], Prepared], /
    ) -> Prepared: ...


def computed(kind: type[Prepared], regions: tuple[Floats, ...], prepare: Callable[[], Prepared], /) -> Prepared:
    """A `Recall` that keeps nothing."""
    return prepare()


def to_bytes(prepared: object) -> bytes:
    """A preparation as .npz. Raises TypeError where it holds anything else than it may."""
    held = BytesIO()
    with ZipFile(held, "w") as archive:
        for name, array in _flat(prepared, ""):
            # A date of its own, so that the bytes are the same every time
            with archive.open(ZipInfo(f"{name}.npy"), "w", force_zip64=True) as member:
                np.lib.format.write_array(member, array, allow_pickle=False)
    return held.getvalue()


def from_bytes(kind: type[Prepared], content: bytes) -> Prepared:
    """A preparation of this kind. Raises ValueError where the content is not one."""
    try:
        with np.load(BytesIO(content), allow_pickle=False) as held:
            arrays = {name: held[name] for name in held.files}
        made: Prepared = _built(kind, arrays, "")
    except (BadZipFile, EOFError, KeyError, OSError, TypeError, ValueError) as error:
        raise ValueError("this is no preparation") from error
    return made


def _flat(value: object, name: str) -> Iterator[tuple[str, NDArray[Any]]]:
    if is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            yield from _flat(getattr(value, field.name), f"{name}.{field.name}" if name else field.name)
    elif isinstance(value, sparse.csr_array):
        for part in _SPARSE:
            yield f"{name}.{part}", np.asarray(getattr(value, part))
    elif isinstance(value, np.ndarray) and value.dtype != object:
        yield name, value
    elif isinstance(value, bool | int | float | str):
        yield name, np.array(value)
    else:
        raise TypeError(f"{name} cannot be kept")


def _built(kind: Any, arrays: Arrays, name: str) -> Any:
    if is_dataclass(kind):
        hints = get_type_hints(kind)
        inner = f"{name}." if name else ""
        parts = {field.name: _built(hints[field.name], arrays, inner + field.name) for field in fields(kind)}
        make: Any = kind
        return make(**parts)
    if get_origin(kind) is sparse.csr_array or kind is sparse.csr_array:
        data, indices, starts, shape = (arrays[f"{name}.{part}"] for part in _SPARSE)
        return sparse.csr_array((data, indices, starts), shape=tuple(shape.tolist()))
    if kind in (bool, int, float, str):
        return kind(arrays[name].item())
    return arrays[name]
