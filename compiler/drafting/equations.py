"""The linear equations of each step."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import SuperLU, splu

from plica.mesh.arrays import Floats
from plica.mesh.sparse import SparseFloats

# Factors of earlier equations serve for later ones until so many steps of conjugate gradients do not do any more: at
# least, and of the square root of the number of unknowns, with which factors cost more steps (trial, no source).
_FEWEST_STEPS: Final = 8
_STEPS: Final = 0.2
# Of the right side, what is left of it at the end: a direction down the energy need not be exact.
_RESIDUAL: Final = 0.1
_Solve = Callable[[Floats], Floats]


class RankOne(NamedTuple):
    """weight times the outer product of a vector (m, 3) with itself."""

    weight: float
    vector: Floats


@dataclass(eq=False)
class _Factors:
    """The latest factors of A + C (3 m, 3 m) that contact asked for."""

    latest: SuperLU | None = None


@dataclass(frozen=True, eq=False)
class Equations:
    """(A + C + w v v^T + ...) x = b: A (m, m) positive definite, constant, acts on each coordinate alike; C (3 m, 3 m)
    positive semidefinite is the contact's, each w v v^T a volume's.

    Without C they are solved exactly by A's factors and the formula of Sherman and Morrison (1950), update by update.
    With it by conjugate gradients (Hestenes and Stiefel 1952), which factors of an A + C met before precondition; where
    that takes long, by factors anew. SuperLU runs on one thread, so that the same equations give the same bytes.
    """

    constant: SparseFloats
    factors: SuperLU
    with_contact: _Factors = field(default_factory=_Factors)

    @classmethod
    def of(cls, constant: SparseFloats) -> Equations:
        """A, factorised."""
        return cls(constant, _factorised(constant))

    def solved(self, right: Floats, updates: Sequence[RankOne], contact: SparseFloats | None = None) -> Floats:
        """x (m, 3) for right (m, 3); contact (3 m, 3 m)."""
        if contact is None:
            return _updated(lambda b: np.asarray(self.factors.solve(np.ascontiguousarray(b))), updates)(right)
        latest = self.with_contact.latest
        if latest is not None:
            result = self._by_gradients(right, updates, contact, latest)
            if result is not None:
                return result
        whole = sparse.csr_array(sparse.kron(self.constant, sparse.eye_array(3)) + contact)
        self.with_contact.latest = _factorised(whole)
        return _updated(_flat(self.with_contact.latest), updates)(right)

    def _by_gradients(
        self, right: Floats, updates: Sequence[RankOne], contact: SparseFloats, factors: SuperLU
    ) -> Floats | None:
        """None where they do not come near enough."""
        near = _updated(_flat(factors), updates)

        def applied(x: Floats) -> Floats:
            result = self.constant @ x + (contact @ x.ravel()).reshape(x.shape)
            for update in updates:
                result = result + update.weight * float((update.vector * x).sum()) * update.vector
            return np.asarray(result)

        rest = right
        x = np.zeros_like(right)
        ahead = near(rest)
        direction, product = ahead, float((rest * ahead).sum())
        enough = _RESIDUAL**2 * product
        for _ in range(max(_FEWEST_STEPS, int(_STEPS * np.sqrt(right.size)))):
            if product <= enough:
                return x
            image = applied(direction)
            share = product / float((direction * image).sum())
            x = x + share * direction
            rest = rest - share * image
            ahead = near(rest)
            before, product = product, float((rest * ahead).sum())
            direction = ahead + product / before * direction
        return x if product <= enough else None


def _updated(solve: _Solve, updates: Sequence[RankOne]) -> _Solve:
    """The inverse of a matrix that `solve` applies the inverse of, plus rank one updates, one after the other."""
    for update in updates:
        solve = _Updated(solve, update).solved
    return solve


class _Updated:
    """The inverse of a matrix that `solve` applies the inverse of, plus a rank one update."""

    def __init__(self, solve: _Solve, update: RankOne) -> None:
        self._solve = solve
        self._update = update
        self._image = solve(update.vector)
        self._scale = update.weight / (1.0 + update.weight * float((update.vector * self._image).sum()))

    def solved(self, right: Floats) -> Floats:
        """x (m, 3) for right (m, 3)."""
        first = self._solve(right)
        return first - self._scale * float((self._update.vector * first).sum()) * self._image


def _flat(factors: SuperLU) -> _Solve:
    return lambda right: np.asarray(factors.solve(right.ravel())).reshape(right.shape)


def _factorised(matrix: SparseFloats) -> SuperLU:
    options = {"SymmetricMode": True}
    return splu(sparse.csc_matrix(matrix), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)
