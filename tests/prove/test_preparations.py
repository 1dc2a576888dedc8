"""Preparations as arrays on disk."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy import sparse

from plica.measure.crossing import Crossing
from plica.mesh.arrays import Floats
from plica.prove.cache.preparations import from_bytes, to_bytes
from tests.support.arms import arms


@dataclass(frozen=True, eq=False)
class Inner:
    """A part."""

    table: sparse.csr_array[np.float64]
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
    with pytest.raises(ValueError, match="no preparation"):
        from_bytes(Outer, content)


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
