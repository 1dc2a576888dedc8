"""Preparations as arrays on disk."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import sparse

from plica.measure.crossing import Crossing
from plica.mesh.arrays import Floats
from plica.mesh.npz import arrays_of, written
from plica.mesh.sparse import SparseFloats
from plica.prove.cache.preparations import _type_of, from_bytes, to_bytes
from tests.support.arms import arms
from tests.support.meshes import bare_mesh
from tests.support.solids import tube

Array = NDArray[Any]


@dataclass(frozen=True, eq=False)
class Inner:
    """A part."""

    table: SparseFloats
    count: int


@dataclass(frozen=True, eq=False)
class Outer:
    """Everything that may be kept."""

    values: Floats
    inner: Inner
    name: str
    width: float
    open: bool


@dataclass(frozen=True, eq=False)
class Odd:
    """What may not."""

    values: object


def outer() -> Outer:
    table = sparse.csr_array(([1.0, 2.5], ([0, 2], [1, 0])), shape=(3, 2))
    return Outer(np.array([[1.0, np.nan, -0.0]]), Inner(table, 7), "tree", 0.1, True)


def test_what_is_written_reads_back_to_the_last_bit() -> None:
    made = outer()
    read = from_bytes(Outer, to_bytes(made))
    assert read.values.tobytes() == made.values.tobytes()
    assert (read.inner.table.toarray() == made.inner.table.toarray()).all()
    assert (read.inner.count, read.name, read.width, read.open) == (7, "tree", 0.1, True)
    assert [type(value) for value in (read.inner.count, read.name, read.width, read.open)] == [int, str, float, bool]


def test_the_bytes_are_the_same_every_time() -> None:
    assert to_bytes(outer()) == to_bytes(outer())


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"\x80\x04N.", to_bytes(Inner(sparse.csr_array((2, 2)), 1))])
def test_other_content_is_refused(content: bytes) -> None:
    with pytest.raises(ValueError):
        from_bytes(Outer, content)


def entries(made: object) -> dict[str, Array]:
    """The arrays of a preparation by their names in the file."""
    return arrays_of(to_bytes(made))


def refused(arrays: dict[str, Array], kind: type = Outer) -> bool:
    """Whether these arrays are no preparation."""
    try:
        from_bytes(kind, written(arrays))
    except ValueError:
        return True
    return False


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("values", np.zeros((1, 3), np.float32)),
        ("values", np.zeros((1, 3), np.int64)),
        ("name", np.array(7)),
        ("name", np.array(["tree"])),
        ("width", np.array("0.1")),
        ("open", np.array(1)),
        ("inner.count", np.array(7.0)),
        ("inner.table.indices", np.array([1, 9], np.int32)),
        ("inner.table.indices", np.array([1, -1], np.int32)),
        ("inner.table.indices", np.array([1.0, 0.0])),
        ("inner.table.indptr", np.array([0, 5, 1, 2], np.int32)),
        ("inner.table.indptr", np.array([0, 1, 2], np.int32)),
        ("inner.table.shape", np.array([3, 2, 1])),
        ("inner.table.shape", np.array([-3, 2])),
        ("inner.table.data", np.array(["1", "2"])),
        ("something.else", np.zeros(1)),
    ],
)
def test_arrays_of_another_kind_are_refused(name: str, values: Array) -> None:
    assert not refused(entries(outer()))
    assert refused({**entries(outer()), name: values})


def test_what_is_missing_is_refused() -> None:
    arrays = entries(outer())
    for name in arrays:
        assert refused({key: value for key, value in arrays.items() if key != name}), name


def test_a_preparation_of_crossings_is_looked_at_before_it_is_used() -> None:
    """Every list cut short, and every index out of its bounds, is seen; no number is one that is none."""
    mesh = bare_mesh(*tube(9, 8))
    made = Crossing.prepared(mesh, mesh.positions)
    sizes = (mesh.vertex_count, len(mesh.triangles))
    assert made.suits(*sizes)
    assert not made.suits(sizes[0] // 2, sizes[1]) and not made.suits(sizes[0], sizes[1] // 2)
    arrays = entries(made)
    for name, values in arrays.items():
        for changed in damaged(values):
            content = {**arrays, name: changed}
            assert refused(content, Crossing) or not from_bytes(Crossing, written(content)).suits(*sizes), name


def damaged(values: Array) -> Iterator[Array]:
    """An array cut short, and with a first and a last element that nothing can have."""
    if not values.shape:
        yield values + values.dtype.type(1000)
        return
    yield values[:-1]
    for place in (0, -1):
        for wrong in (np.nan,) if values.dtype.kind == "f" else (-7, 1 << 30):
            changed = values.copy()
            changed.reshape(-1)[place] = wrong
            yield changed


def test_objects_are_neither_written_nor_read() -> None:
    """An array of objects would be pickled."""
    for value in (np.array([None]), [1, 2], None):
        with pytest.raises(TypeError):
            to_bytes(Odd(value))


def test_crossings_are_found_the_same_with_what_was_kept() -> None:
    """Two sheets of the tubes pushed through each other."""
    mesh = arms("").attached.mesh
    made = Crossing.prepared(mesh, mesh.positions)
    read = from_bytes(Crossing, to_bytes(made))
    pushed = mesh.positions[None] * np.array([1.0, 0.3, 1.0])
    pushed = np.concatenate([pushed, np.abs(pushed) * (1.0, 1.0, 0.1)])
    one, other = made.of(pushed), read.of(pushed)
    assert len(one.triangles) > 0
    assert (one.triangles == other.triangles).all() and (one.frames == other.frames).all()


def test_the_numbers_of_an_array_are_known_in_both_forms_of_its_annotation() -> None:
    """One argument is what `NDArray` has from NumPy 2.5 on, two before."""
    assert _type_of(list[np.int64]) == np.int64
    assert _type_of(np.ndarray[tuple[int, ...], np.dtype[np.float64]]) == np.float64
