"""The linear equations of each step: a constant sparse matrix, factorised once, and what changes on top of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import SuperLU, splu

from plica.mesh.arrays import Floats
from plica.mesh.sparse import SparseFloats


@dataclass(frozen=True, eq=False)
class Equations:
    """A positive definite matrix (m, m) that acts on each coordinate alike, plus `weight` times the outer product of
    one gradient (m, 3) with itself: the rank 1 update by Sherman and Morrison (1950)."""

    factors: SuperLU

    @classmethod
    def of(cls, matrix: SparseFloats) -> Equations:
        """Factorised on one thread, so that the same matrix gives the same bytes."""
        return cls(splu(sparse.csc_matrix(matrix), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}))

    def solved(self, right: Floats, weight: float = 0.0, gradient: Floats | None = None) -> Floats:
        """x (m, 3) with (A + weight g g^T) x = right (m, 3)."""
        result = np.asarray(self.factors.solve(np.ascontiguousarray(right)))
        if gradient is None:
            return result
        update = np.asarray(self.factors.solve(np.ascontiguousarray(gradient)))
        share = weight * float((gradient * result).sum()) / (1.0 + weight * float((gradient * update).sum()))
        return result - share * update
