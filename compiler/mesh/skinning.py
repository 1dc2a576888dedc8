"""Skinning: each vertex's affine matrix, blended from the skin matrices of the joints that hold it.

Everything is laid out as (vertices, frames) for one element of the matrices at a time, so that numpy and scipy walk
along contiguous frames.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from functools import cached_property
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.rigid_motions import motions
from plica.mesh.sparse import SparseFloats
from plica.values import SkinningMethod

Row = tuple[Floats, Floats, Floats, Floats]

# Stretches this near the identity are left out: it is far below what a file's single precision says.
_UNSTRETCHED = 1e-12


class Rows(NamedTuple):
    """Some vertices of a mesh: the weights of the binds and, where asked for, of the pairs of binds."""

    weights: SparseFloats
    pairs: SparseFloats | None


class Blended(Protocol):
    """The affine matrices of some vertices in some frames."""

    def row(self, index: int) -> Row:
        """One row of the matrices: four arrays (vertices, frames) that are the caller's."""
        ...


class Blend(Protocol):
    """The skin matrices of some frames, ready to be blended."""

    def blended(self, rows: Rows) -> Blended:
        """The affine matrices of some vertices."""
        ...


class Skinning:
    """A mesh's skin weights. A mesh without binds stays where it is."""

    def __init__(self, mesh: Mesh) -> None:
        self.vertex_count = mesh.vertex_count
        self.binds = len(mesh.bind_joints)
        self._joints, self._weights = mesh.joints, mesh.weights

    def part(self, vertices: Integers) -> Skinning:
        """That of these vertices (n,) alone, in their order."""
        result = copy(self)
        result.vertex_count = len(vertices)
        result._joints, result._weights = self._joints[vertices], self._weights[vertices]
        for made in ("weights", "_pairs"):
            result.__dict__.pop(made, None)
        return result

    @cached_property
    def weights(self) -> SparseFloats:
        """(vertices, binds)."""
        if not self.binds:
            return sparse.csr_array(np.ones((self.vertex_count, 1)))
        return _by_column(self._joints, self._weights, self.binds)

    @cached_property
    def _pairs(self) -> tuple[SparseFloats, Integers, Integers]:
        """Weights (vertices, pairs) of the pairs (a vertex's heaviest bind, a bind of the same vertex), and both binds.

        Quaternions of one vertex are blended with the sign that brings each into the hemisphere of the heaviest
        one's. That sign depends on the frame, but for all vertices alike that share the pair.
        """
        if not self.binds:
            return self.weights, np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
        heaviest = np.argmax(self._weights, axis=1)[:, np.newaxis]
        pivots = np.take_along_axis(self._joints, heaviest, axis=1)
        keys, columns = np.unique(pivots * self.binds + self._joints, return_inverse=True)
        weights = _by_column(columns.reshape(self._joints.shape), self._weights, len(keys))
        return weights, keys // self.binds, keys % self.binds

    def blend(self, skins: Floats, method: SkinningMethod) -> Blend:
        """Skin matrices (frames, binds, 3, 4) made ready."""
        given = skins if self.binds else np.repeat(np.eye(3, 4)[np.newaxis, np.newaxis], len(skins), axis=0)
        if method == "linear":
            return LinearBlend(np.ascontiguousarray(given.transpose(2, 1, 3, 0)))
        _, pivots, members = self._pairs
        return DualBlend(given, pivots, members)

    def rows(self, method: SkinningMethod, start: int, stop: int) -> Rows:
        """The vertices from `start` up to `stop`."""
        pairs = rows_between(self._pairs[0], start, stop) if method == "dual quaternion" else None
        return Rows(rows_between(self.weights, start, stop), pairs)

    def chosen(self, method: SkinningMethod, vertices: Integers) -> Rows:
        """The vertices with these indexes."""
        return Rows(self.weights[vertices], self._pairs[0][vertices] if method == "dual quaternion" else None)

    def matrices(self, skins: Floats, method: SkinningMethod = "linear") -> Floats:
        """Every vertex's affine matrix, (frames, vertices, 3, 4), from skin matrices (frames, binds, 3, 4)."""
        result = np.empty((len(skins), self.vertex_count, 3, 4))
        blended = self.blend(skins, method).blended(self.rows(method, 0, self.vertex_count))
        for index in range(3):
            for column, values in enumerate(blended.row(index)):
                result[:, :, index, column] = values.T
        return result


class LinearBlend:
    """Linear blend skinning: the weighted mean of the skin matrices (glTF 2.0 section 3.7.3)."""

    def __init__(self, tables: Floats) -> None:
        """`tables`: (3, binds, 4, frames)."""
        self._tables = tables

    def blended(self, rows: Rows) -> Blended:
        """The affine matrices of some vertices."""
        return _LinearBlended(self._tables, rows.weights)


class _LinearBlended(NamedTuple):
    tables: Floats
    weights: SparseFloats

    def row(self, index: int) -> Row:
        a, b, c, d = products(self.weights, self.tables[index])
        return a, b, c, d


class DualBlend:
    """Dual quaternion skinning (Kavan and others, "Skinning with Dual Quaternions", 2007).

    Each skin matrix is a rotation and translation after a stretch. The rigid motions are blended as dual quaternions,
    those in the other hemisphere than the heaviest one negated, and normalised; the stretches are blended linearly
    and act first. This is how UsdSkel treats scale too.
    """

    def __init__(self, skins: Floats, pivots: Integers, members: Integers) -> None:
        """`pivots`, `members` (pairs,): the binds whose hemispheres are compared."""
        result = motions(skins)
        agree = (result.real[:, pivots] * result.real[:, members]).sum(axis=-1)
        sign = np.where(agree < 0, -1.0, 1.0)[..., np.newaxis]
        self._real = _tables(result.real[:, members] * sign)
        self._dual = _tables(result.dual[:, members] * sign)
        stretched = np.abs(result.stretch - np.eye(3)).max(initial=0.0) > _UNSTRETCHED
        self._stretch = _tables(result.stretch.reshape(*result.stretch.shape[:2], 9)) if stretched else None

    def blended(self, rows: Rows) -> Blended:
        """The affine matrices of some vertices. Raises ValueError for rows without pairs."""
        if rows.pairs is None:
            raise ValueError("dual quaternions need the pairs of binds")
        pairs = rows.pairs
        real, dual = list(products(pairs, self._real)), list(products(pairs, self._dual))
        size = np.sqrt((real[0] * real[0] + real[1] * real[1]) + (real[2] * real[2] + real[3] * real[3]))
        size[size == 0] = 1.0
        for part in (*real, *dual):
            part /= size
        stretch = None if self._stretch is None else list(products(rows.weights, self._stretch))
        return _DualBlended(real, dual, stretch)


class _DualBlended(NamedTuple):
    real: list[Floats]
    dual: list[Floats]
    stretch: list[Floats] | None

    def row(self, index: int) -> Row:
        # Cyclic shifts of x, y, z make one formula serve for all three rows.
        x, y, z, w = self.real[index], self.real[(index + 1) % 3], self.real[(index + 2) % 3], self.real[3]
        a, b, c, d = self.dual[index], self.dual[(index + 1) % 3], self.dual[(index + 2) % 3], self.dual[3]
        turned = [w * w + x * x - y * y - z * z, 2 * (x * y - w * z), 2 * (x * z + w * y)]
        turned = turned[-index:] + turned[:-index] if index else turned
        moved = 2 * ((w * a - d * x) + (y * c - z * b))
        if self.stretch is None:
            return turned[0], turned[1], turned[2], moved
        across = [self.stretch[3 * part : 3 * part + 3] for part in range(3)]
        first, second, third = (turned[0] * u + turned[1] * v + turned[2] * s for u, v, s in zip(*across, strict=True))
        return first, second, third, moved


def cut(count: int, size: int) -> Iterator[tuple[int, int]]:
    """Stretches of at most `size` out of `count`."""
    for start in range(0, count, size):
        yield start, min(start + size, count)


def products(weights: SparseFloats, tables: Floats) -> Floats:
    """Weights (vertices, binds) times each element of tables (binds, elements, frames), (elements, vertices, frames).

    All elements in one product, as starting one takes as long as many numbers; the sums are those of single products.
    """
    result = np.asarray(weights @ tables.reshape(len(tables), -1))
    return result.reshape(-1, *tables.shape[1:]).transpose(1, 0, 2)


def _tables(values: Floats) -> Floats:
    """(frames, binds, elements) as contiguous (binds, elements, frames)."""
    return np.ascontiguousarray(values.transpose(1, 2, 0))


def _by_column(columns: NDArray[np.int64], weights: Floats, count: int) -> SparseFloats:
    kept = weights != 0
    starts = np.concatenate([[0], np.cumsum(kept.sum(axis=1))])
    result = sparse.csr_array((weights[kept], columns[kept], starts), shape=(len(columns), count))
    # One order for each vertex's influences and one place for each bind, however the file lists them.
    result.sum_duplicates()
    return result


def rows_between(matrix: SparseFloats, start: int, stop: int) -> SparseFloats:
    """Rows of a matrix without copying its numbers, as slicing would."""
    starts = matrix.indptr[start : stop + 1]
    part = slice(starts[0], starts[-1])
    shape = (stop - start, matrix.shape[1])
    return sparse.csr_array((matrix.data[part], matrix.indices[part], starts - starts[0]), shape=shape, copy=False)
