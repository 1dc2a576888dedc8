"""The deformation of triangles and the energy of their stretch.

Each triangle maps its neutral plane linearly into space by J (3, 2) with singular values s1 >= s2. The energy of a unit
of neutral area is a sum over both: (s - 1)^2, the as-rigid-as-possible energy of one triangle (Sorkine and Alexa,
"As-Rigid-As-Possible Surface Modeling", 2007; in the form by elements of Chao and others, "A Simple Geometric Model
for Elastic Deformation", 2010), and beyond limits of strain a further weight times the square of
what s exceeds them by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import sparse

from plica.measure.area_shares import areas_of
from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseFloats

# Triangles below this share of the mean area have no directions, and no energy.
_SMALLEST_AREA = 1e-6
_TINY = 1e-12


class StrainLimits(NamedTuple):
    """Singular values between which stretch is not made dearer, and the further weight beyond."""

    low: float
    high: float
    weight: float

    def cost(self, values: Floats) -> Floats:
        """(n,) of singular values (n,)."""
        beyond = np.maximum(values - self.high, 0.0) + np.maximum(self.low - values, 0.0)
        return np.asarray(self.weight * beyond**2)

    def slope(self, values: Floats) -> Floats:
        """The derivative of the cost."""
        beyond = np.maximum(values - self.high, 0.0) - np.maximum(self.low - values, 0.0)
        return np.asarray(2.0 * self.weight * beyond)


@dataclass(frozen=True, eq=False)
class TriangleMaps:
    """Triangles' neutral planes: areas (t,), 0 for those without directions; first, second: sparse (t, p), which take
    positions (p, 3) to the columns of J (t, 3)."""

    areas: Floats
    first: SparseFloats
    second: SparseFloats

    @classmethod
    def of(cls, neutral: Floats, triangles: Integers) -> TriangleMaps:
        """neutral (p, 3), triangles (t, 3)."""
        corners = neutral[triangles]
        areas = areas_of(corners)
        known = areas > _SMALLEST_AREA * areas.mean() if len(areas) else np.zeros(0, bool)
        one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        length = np.linalg.norm(one, axis=1)
        safe_length, safe_area = np.where(known, length, 1.0), np.where(known, areas, 1.0)
        along = np.where(known, 1.0 / safe_length, 0.0)
        mixed = np.where(known, (one * other).sum(axis=1) / safe_length / (2.0 * safe_area), 0.0)
        across = np.where(known, length / (2.0 * safe_area), 0.0)
        # J = (along * edge, across * other edge - mixed * edge), its first axis being along the first edge.
        first = np.stack([-along, along, np.zeros_like(along)], axis=1)
        second = np.stack([mixed - across, -mixed, across], axis=1)
        return cls(np.where(known, areas, 0.0), *(_rows(part, triangles, len(neutral)) for part in (first, second)))

    @property
    def laplacian(self) -> SparseFloats:
        """(p, p): the cotangent Laplacian, positive semidefinite."""
        weight = sparse.diags_array(self.areas)
        result = self.first.T @ weight @ self.first + self.second.T @ weight @ self.second
        return sparse.csr_array(result)

    def columns(self, positions: Floats) -> tuple[Floats, Floats]:
        """The columns of J, (t, 3) each."""
        return np.asarray(self.first @ positions), np.asarray(self.second @ positions)

    def pulled(self, first: Floats, second: Floats) -> Floats:
        """The gradient (p, 3) of an energy whose derivatives by the columns of J are given, (t, 3) each."""
        return np.asarray(self.first.T @ first + self.second.T @ second)

    def singular_values(self, positions: Floats) -> tuple[Floats, Floats]:
        """The larger and the smaller one of each triangle (t,)."""
        u, v = self.columns(positions)
        return _singular_values((u * u).sum(axis=1), (v * v).sum(axis=1), (u * v).sum(axis=1))

    def energy(self, positions: Floats, limits: Sequence[StrainLimits]) -> tuple[float, Floats]:
        """The energy and its gradient (p, 3)."""
        u, v = self.columns(positions)
        uu, vv, uv = (u * u).sum(axis=1), (v * v).sum(axis=1), (u * v).sum(axis=1)
        large, small = _singular_values(uu, vv, uv)
        value = self.areas @ (_cost(large, limits) + _cost(small, limits))
        # dE/dJ = J f(J^T J) with f(s^2) = slope(s) / s; of a symmetric 2 x 2 matrix C, f(C) = a + b C.
        at_large, at_small = _slope(large, limits) / large, _slope(small, limits) / small
        apart = large**2 - small**2
        b = np.where(apart > 1e-9 * large**2, (at_large - at_small) / np.maximum(apart, _TINY), 0.0)
        a = at_large - b * large**2
        a, b = self.areas * a, self.areas * b
        first = (a + b * uu)[:, None] * u + (b * uv)[:, None] * v
        second = (b * uv)[:, None] * u + (a + b * vv)[:, None] * v
        return float(value), self.pulled(first, second)


def _rows(values: Floats, triangles: Integers, points: int) -> SparseFloats:
    rows = np.repeat(np.arange(len(triangles)), 3)
    return sparse.csr_array((values.ravel(), (rows, triangles.ravel())), shape=(len(triangles), points))


def _singular_values(uu: Floats, vv: Floats, uv: Floats) -> tuple[Floats, Floats]:
    mean, half = 0.5 * (uu + vv), np.sqrt((0.5 * (uu - vv)) ** 2 + uv**2)
    large = np.sqrt(np.maximum(mean + half, _TINY))
    return large, np.sqrt(np.maximum(uu * vv - uv**2, 0.0)) / large + _TINY


def _cost(values: Floats, limits: Sequence[StrainLimits]) -> Floats:
    return np.asarray(sum((one.cost(values) for one in limits), start=(values - 1.0) ** 2))


def _slope(values: Floats, limits: Sequence[StrainLimits]) -> Floats:
    return np.asarray(sum((one.slope(values) for one in limits), start=2.0 * (values - 1.0)))
