"""How skin is strained: logarithmic strain of triangles, averaged to points and smoothed along the surface.

With F the gradient of the deformation in a triangle's plane (3 x 2), the tensor is E = 1/2 log(F^T F) (Hencky 1928): an
eigenvalue e means that lines of its direction are exp(e) times as long. It does not change when the skin is turned as
a whole. Tensors of triangles become those of points by their areas, and one implicit step of diffusion with the
cotangent Laplacian (Pinkall and Polthier 1993) smooths them: a bump spreads with the standard deviation h for
t = h^2 / 2.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseFloats

MOST_STRAIN: Final = 1.5
"""Lines that become shorter or longer by more than this (natural logarithm) count as so much: triangles that fold flat
would decide alone."""
_FLAT: Final = 1e-12  # of the square of the longest edge: a triangle with less area has no direction across
_SHARPEST: Final = 1e3  # cotangents are kept below: slivers would tie their points together
_PAIRS: Final = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))


@dataclass(frozen=True, eq=False)
class RestSurface:
    """A surface at rest: positions (p, 3) metres, triangles (t, 3); triangles without area are left out."""

    positions: Floats
    triangles: Integers
    _solvers: dict[float, Callable[[Floats], Floats]] = field(default_factory=dict)

    @classmethod
    def of(cls, positions: Floats, triangles: Integers) -> RestSurface:
        """The surface without its flat triangles."""
        one, other = (positions[triangles[:, corner]] - positions[triangles[:, 0]] for corner in (1, 2))
        longest = np.maximum((one * one).sum(axis=1), (other * other).sum(axis=1))
        return cls(positions, triangles[np.linalg.norm(np.cross(one, other), axis=1) > _FLAT * longest])

    @cached_property
    def _edges(self) -> Floats:
        """The edges from each triangle's first corner, (t, 3, 2)."""
        corners = self.positions[self.triangles]
        return np.stack([corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]], axis=2)

    @cached_property
    def normals(self) -> Floats:
        """The unit normals (t, 3) of the triangles."""
        normals = np.cross(self._edges[:, :, 0], self._edges[:, :, 1])
        return np.asarray(normals / np.linalg.norm(normals, axis=1, keepdims=True))

    @cached_property
    def triangle_areas(self) -> Floats:
        """Square metres (t,)."""
        return np.asarray(np.linalg.norm(np.cross(self._edges[:, :, 0], self._edges[:, :, 1]), axis=1) / 2.0)

    @cached_property
    def areas(self) -> Floats:
        """A third of the triangles round each point, square metres (p,)."""
        thirds = np.repeat(self.triangle_areas / 3.0, 3)
        return np.asarray(np.bincount(self.triangles.ravel(), thirds, minlength=len(self.positions)), np.float64)

    @cached_property
    def bases(self) -> Floats:
        """Two orthogonal unit vectors in the plane of each triangle, (t, 3, 2)."""
        first = self._edges[:, :, 0] / np.linalg.norm(self._edges[:, :, 0], axis=1, keepdims=True)
        return np.stack([first, np.cross(self.normals, first)], axis=2)

    @cached_property
    def _averaging(self) -> SparseFloats:
        """Values of triangles to those of points, (p, t): the mean by area."""
        rows, thirds = self.triangles.ravel(), np.repeat(self.triangle_areas / 3.0, 3)
        columns = np.repeat(np.arange(len(self.triangles)), 3)
        size = (len(self.positions), len(self.triangles))
        return sparse.csr_array((thirds / self.areas[rows], (rows, columns)), shape=size)

    @cached_property
    def stiffness(self) -> SparseFloats:
        """The cotangent Laplacian (p, p), positive semidefinite, without a unit."""
        count = len(self.positions)
        rows, columns, values = [], [], []
        for corner in range(3):
            here, one, other = (self.triangles[:, (corner + step) % 3] for step in range(3))
            toward, away = self.positions[one] - self.positions[here], self.positions[other] - self.positions[here]
            cotangents = (toward * away).sum(axis=1) / (2.0 * self.triangle_areas)
            rows.append(one)
            columns.append(other)
            values.append(np.clip(cotangents, -_SHARPEST, _SHARPEST) / 2.0)
        half = sparse.coo_array(
            (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(count, count)
        ).tocsr()
        weights = half + half.T
        return sparse.csr_array(sparse.diags_array(np.asarray(weights.sum(axis=1)).ravel()) - weights)

    def strain(self, posed: Floats) -> Floats:
        """The logarithmic strain of each triangle, (t, 3, 3), tensors of its plane at rest; posed (p, 3) metres.

        The normal is an eigenvector of 0. Eigenvalues are limited to `MOST_STRAIN`.
        """
        corners = posed[self.triangles]
        moved = np.stack([corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]], axis=2)
        flat = np.matmul(self.bases.transpose(0, 2, 1), self._edges)
        gradient = np.matmul(moved, np.linalg.inv(flat))
        squares, turns = np.linalg.eigh(np.matmul(gradient.transpose(0, 2, 1), gradient))
        least = np.exp(-2.0 * MOST_STRAIN)
        logarithms = np.clip(0.5 * np.log(np.maximum(squares, least)), -MOST_STRAIN, MOST_STRAIN)
        directions = np.matmul(self.bases, turns)
        return np.asarray(np.matmul(directions * logarithms[:, None, :], directions.transpose(0, 2, 1)))

    def smoothed_strain(self, posed: Floats, width: float) -> Floats:
        """The strain of each point, (p, 3, 3), smoothed over `width` metres along the surface; 0 off the triangles."""
        tensors = self.strain(posed)
        components = np.stack([tensors[:, row, column] for row, column in _PAIRS], axis=1)
        values = self.smoothed(np.asarray(self._averaging @ components), width)
        result = np.zeros((len(self.positions), 3, 3))
        for number, (row, column) in enumerate(_PAIRS):
            result[:, row, column] = result[:, column, row] = values[:, number]
        return result

    def smoothed(self, values: Floats, width: float) -> Floats:
        """Values (p, n) after one step of diffusion whose kernel has the standard deviation `width` metres."""
        if width == 0.0:
            return values
        if width not in self._solvers:
            masses = np.where(self.areas == 0.0, 1.0, self.areas)
            system = sparse.csc_array(sparse.diags_array(masses) + 0.5 * width * width * self.stiffness)
            options = {"SymmetricMode": True}
            factors = splu(system, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)
            self._solvers[width] = factors.solve
        return np.asarray(self._solvers[width](self.areas[:, None] * values))
