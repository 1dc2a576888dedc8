"""Distances along surfaces of every bad kind. Closed forms are in tests/outside/test_surface_distances.py."""

from __future__ import annotations

import numpy as np
import pytest

from plica.mesh.arrays import Floats, Integers
from plica.mesh.surface import distance_to_level
from tests.support.meshes import bilateral

FAR = 100.0


def distances(positions: list[list[float]], triangles: list[list[int]], values: list[float]) -> Floats:
    places: Floats = np.array(positions, dtype=np.float64)
    corners: Integers = np.array(triangles, dtype=np.int64).reshape(-1, 3)
    return distance_to_level(places, corners, np.array(values), 0.5, FAR)


SQUARE: list[list[float]] = [[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]


def test_on_an_open_border() -> None:
    """What a general library gets wrong here (see plica.mesh.surface): a triangle's own edges."""
    result = distances([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]], [0.0, 0.0, 1.0])
    # The line goes from (0, 0.5) to (0.5, 0.5).
    assert result == pytest.approx([0.5, np.sqrt(0.5), 0.5], abs=1e-12)


def test_an_edge_with_three_triangles() -> None:
    positions: list[list[float]] = [[0, 0, 0], [0, 0, 1], [1, 0, 0.5], [-1, 0, 0.5], [0, 1, 0.5], [0, 2, 0.5]]
    result = distances(positions, [[0, 1, 2], [1, 0, 3], [0, 1, 4], [0, 4, 5], [1, 5, 4]], [0, 0, 1, 0, 0, 0])
    # From x = 0.5, z 0.25 to 0.75, straight on over the shared edge x = 0 into both other sheets.
    slant = np.hypot(0.5, 0.25)
    assert result[:5] == pytest.approx([slant, slant, 0.5, 1.5, 1.5], rel=0.03)


def test_degenerate_and_repeated_triangles_and_points_without_any() -> None:
    plain = distances(SQUARE, [[0, 1, 2], [0, 2, 3]], [0, 1, 1, 0])
    more = [[0, 1, 2], [0, 2, 3], [2, 0, 1], [0, 0, 1], [1, 2, 1], [0, 2, 1], [3, 3, 3]]
    assert np.array_equal(distances(SQUARE, more, [0, 1, 1, 0]), plain)
    lonely = distances([*SQUARE, [5.0, 5, 5]], more, [0, 1, 1, 0, 1])
    assert np.array_equal(lonely[:4], plain)
    assert lonely[4] == np.inf
    flat = distances([[0.0, 0, 0], [1, 0, 0], [0.5, 0, 0]], [[0, 1, 2]], [0, 1, 0])
    assert np.isfinite(flat).all()
    together = distances([[0.0, 0, 0], [0, 0, 0], [0, 0, 0]], [[0, 1, 2]], [0, 1, 0])
    assert together.tolist() == [0.0, 0.0, 0.0]


def test_what_no_line_reaches_is_infinitely_far() -> None:
    shifted = [[x + 3.0, y, z] for x, y, z in SQUARE]
    triangles = [[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]]
    result = distances([*SQUARE, *shifted], triangles, [0, 1, 1, 0, 1, 1, 1, 1])
    assert result[:4] == pytest.approx([0.5] * 4, abs=1e-12)
    assert np.isinf(result[4:]).all()
    assert np.isinf(distances(SQUARE, [[0, 1, 2]], [0, 0, 0, 1])).all()
    assert np.isinf(distances(SQUARE, [], [0, 1, 1, 0])).all()


def test_the_limit_cuts_nothing_off_before_it() -> None:
    positions, triangles = bilateral(2000, 2)
    values = positions[:, 1] + 0.5
    whole = distance_to_level(positions, triangles, values, 0.5, FAR)
    for limit in (0.01, 0.1, 0.4):
        near = distance_to_level(positions, triangles, values, 0.5, limit)
        assert np.array_equal(near[whole <= limit], whole[whole <= limit])
        assert np.isinf(near[whole > limit]).all()


def test_a_long_triangle_beside_short_ones_hides_nothing() -> None:
    """The line lies far from all corners of the triangle that it crosses."""
    edge = [[0.0, 0, z] for z in np.linspace(-10.0, 10.0, 3)]
    positions = [[-0.2, 0, 0], *edge, [0.1, 0, 0], [0.2, 0, 0]]
    triangles = [[0, 1, 2], [0, 2, 3], [4, 1, 2], [4, 2, 3], [5, 1, 4], [5, 4, 3]]
    values = [1.0, 0, 0, 0, 0, 0]
    result = distance_to_level(np.array(positions), np.array(triangles), np.array(values), 0.5, 0.5)
    assert result[[0, 2, 4, 5]] == pytest.approx([0.1, 0.1, 0.2, 0.3], rel=0.03)
