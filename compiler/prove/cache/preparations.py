"""What a measure works out once for a mesh, kept as arrays: written and read without pickle.

A preparation is a dataclass of arrays, sparse matrices, numbers, texts and dataclasses of such. It becomes NumPy's .npz
(a ZIP archive of .npy arrays) whose members are named after the way through its fields, `tree.leaves`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from io import BytesIO
from typing import Any, Final, Protocol, TypeVar, get_args, get_origin, get_type_hints
from zipfile import ZipFile, ZipInfo

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from plica.measure.checks import are_indexes, are_starts
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.npz import arrays_of


class Preparation(Protocol):
    """What can be kept: a dataclass that knows whether it is about a mesh of so many vertices and triangles."""

    def suits(self, vertices: int, triangles: int) -> bool: ...


Prepared = TypeVar("Prepared", bound=Preparation)
_Made = TypeVar("_Made")
Arrays = Mapping[str, NDArray[Any]]

_SCALARS: Final = {bool: "b", int: "i", float: "f", str: "U"}
_SPARSE: Final = ("data", "indices", "indptr", "shape")


class Recall(Protocol):
    """Gives what `prepare` gives, which depends on the mesh (or part of one), its rest pose and these regions and
    nothing else; maybe without doing it."""

    def __call__(
        self, kind: type[Prepared], mesh: Mesh, regions: tuple[Floats, ...], prepare: Callable[[], Prepared], /
    ) -> Prepared: ...


def computed(
    kind: type[Prepared], mesh: Mesh, regions: tuple[Floats, ...], prepare: Callable[[], Prepared], /
) -> Prepared:
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


def from_bytes(kind: type[_Made], content: bytes) -> _Made:
    """A preparation of this kind. Raises ValueError where the content is not one: arrays of other types, sparse
    matrices that do not hang together, something missing or something beside them."""
    arrays = arrays_of(content)
    made: _Made = _built(kind, arrays, "")
    if len(arrays) != sum(1 for _ in _flat(made, "")):
        raise ValueError("there is more in it than it takes")
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
        return _sparse([_array(arrays, f"{name}.{part}") for part in _SPARSE])
    values = _array(arrays, name)
    if kind in _SCALARS:
        if values.shape != () or values.dtype.kind != _SCALARS[kind]:
            raise ValueError(f"{name} is no {kind.__name__}")
        return kind(values.item())
    if values.dtype != _type_of(kind):
        raise ValueError(f"{name} holds {values.dtype} and not {_type_of(kind)}")
    return values


def _array(arrays: Arrays, name: str) -> NDArray[Any]:
    if name not in arrays:
        raise ValueError(f"{name} is missing")
    return arrays[name]


def _type_of(kind: Any) -> np.dtype[Any]:
    """The type of an `NDArray[...]`'s numbers. From NumPy 2.5 on that is an alias with one argument."""
    given = get_args(kind)
    numbers: np.dtype[Any] = np.dtype(given[0] if len(given) == 1 else get_args(given[1])[0])
    return numbers


def _sparse(parts: list[NDArray[Any]]) -> sparse.csr_array[Any]:
    """A sparse matrix, every index of it looked at: the code that multiplies with it trusts them. Raises ValueError."""
    data, indices, starts, shape = parts
    if data.dtype.kind not in "bf" or any(part.dtype.kind != "i" for part in parts[1:]) or shape.shape != (2,):
        raise ValueError("this is no sparse matrix")
    rows, columns = shape.tolist()
    if not (are_starts(starts, rows, data.size) and are_indexes(indices, columns, (data.size,))):
        raise ValueError("this sparse matrix does not hang together")
    return sparse.csr_array((data, indices, starts), shape=(rows, columns))
