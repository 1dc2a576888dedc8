"""Places of the skin at which masks are fitted, measured and added up, whatever uv set they are over."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from plica.mesh.arrays import Floats, Integers

MEASURED_IN_TRIANGLE: Final = 2
"""Places inside each triangle at which masks are measured."""
AT_ONCE: Final = 1 << 17
"""Places that are worked on at once."""
_ROOT: Final = 1.324717957244746
"""The real root of x^3 = x + 1: steps of its first two powers' reciprocals fill a square evenly (Roberts 2018)."""


class SkinPoints(NamedTuple):
    """Places of the skin: triangles (n,) and weights (n, 3) of their corners."""

    triangles: Integers
    weights: Floats

    def places(self, uv: Floats, triangles: Integers) -> Floats:
        """Their texture coordinates (n, 2) for a mesh with coordinates (v, 2) and triangles (t, 3)."""
        result = np.empty((len(self.triangles), 2))
        for start in range(0, len(result), AT_ONCE):
            part = slice(start, start + AT_ONCE)
            np.einsum("nc,nck->nk", self.weights[part], uv[triangles[self.triangles[part]]], out=result[part])
        return result

    def vertices(self, triangles: Integers) -> Integers:
        """The vertex (n,) that has most to say at each."""
        result: Integers = triangles[self.triangles, self.weights.argmax(axis=1)]
        return result


def fitted_points(triangles: Integers) -> SkinPoints:
    """All vertices of triangles (t, 3), once each, and in each triangle the middle and one place toward each corner."""
    near, far = 2.0 / 3.0, 1.0 / 6.0
    inside = np.array([[1.0 / 3.0] * 3, [near, far, far], [far, near, far], [far, far, near]])
    weights = np.tile(inside, (len(triangles), 1))
    return _together(_vertices(triangles), SkinPoints(np.repeat(np.arange(len(triangles)), len(inside)), weights))


def measured_points(triangles: Integers) -> SkinPoints:
    """All vertices of triangles (t, 3), once each, and places spread inside them, none of those of `fitted_points`.

    They differ from triangle to triangle, and are the same on every run: an additive recurrence (Kronecker sequence)
    over the unit square, whose upper half is folded onto the lower.
    """
    number = np.arange(len(triangles) * MEASURED_IN_TRIANGLE, dtype=np.float64)
    one, other = (number / _ROOT + 0.5) % 1.0, (number / _ROOT**2 + 0.5) % 1.0
    beyond = one + other > 1.0
    one, other = np.where(beyond, 1.0 - one, one), np.where(beyond, 1.0 - other, other)
    weights = np.stack([1.0 - one - other, one, other], axis=1)
    inside = SkinPoints(np.repeat(np.arange(len(triangles)), MEASURED_IN_TRIANGLE), weights)
    return _together(_vertices(triangles), inside)


def _vertices(triangles: Integers) -> SkinPoints:
    corners = triangles.reshape(-1)
    result = np.full(int(corners.max(initial=-1)) + 1, -1, dtype=np.int64)
    result[corners[::-1]] = np.arange(len(corners) - 1, -1, -1)
    first = result[result >= 0]
    return SkinPoints(first // 3, np.eye(3)[first % 3])


def _together(one: SkinPoints, other: SkinPoints) -> SkinPoints:
    return SkinPoints(np.concatenate([one.triangles, other.triangles]), np.concatenate([one.weights, other.weights]))
