"""Places of the skin: each vertex once, the same on every run, and measured elsewhere than fitted."""

from __future__ import annotations

import numpy as np
import pytest

from plica.texture.skin_points import MEASURED_IN_TRIANGLE, fitted_points, measured_points
from tests.texture.test_raster import fan


@pytest.mark.parametrize("points", [fitted_points, measured_points])
def test_all_used_vertices_are_there_once(points: object) -> None:
    uv, triangles = fan(10, 1)
    used = np.unique(triangles)
    result = points(triangles)  # type: ignore[operator]
    first = result.places(uv, triangles)[: len(used)]
    assert np.array_equal(first, uv[used])
    assert np.array_equal(result.vertices(triangles)[: len(used)], used)
    assert np.abs(result.weights.sum(axis=1) - 1.0).max() < 1e-12
    assert result.weights.min() >= 0.0


def test_what_is_measured_was_not_fitted() -> None:
    uv, triangles = fan(40, 2)
    inside = measured_points(triangles).places(uv, triangles)[len(np.unique(triangles)) :]
    fitted = fitted_points(triangles).places(uv, triangles)
    assert len(inside) == MEASURED_IN_TRIANGLE * len(triangles)
    apart = np.linalg.norm(inside[:, None] - fitted[None], axis=2).min(axis=1)
    assert apart.min() > 0.0


def test_measured_places_are_spread_over_the_triangle() -> None:
    """Cut into four by its middles, a triangle has a quarter of them in each part, to a twentieth."""
    triangles = np.tile(np.array([[0, 1, 2]]), (2000, 1))
    weights = measured_points(triangles).weights[3:]
    for corner in range(3):
        assert abs((weights[:, corner] > 0.5).mean() - 0.25) < 0.05
    assert len(np.unique(weights.round(6), axis=0)) == len(weights)
