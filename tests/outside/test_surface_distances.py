"""Distances along a surface against closed forms: plane, cylinder, sphere.

Source: elementary geometry. A line's distance in the plane; a cylinder unrolls into the plane; on a sphere the distance
between circles of latitude is the radius times the difference in latitude.
"""

from __future__ import annotations

import numpy as np
import pytest

from plica.mesh.arrays import Floats, Integers
from plica.mesh.surface import OVERESTIMATE, distance_to_level

Grid = tuple[Floats, Integers]


def grid(first: Floats, second: Floats) -> Grid:
    """Pairs of coordinates (n, 2) and the triangles between them, all diagonals the same way."""
    u, v = np.meshgrid(first, second, indexing="ij")
    number = np.arange(u.size).reshape(u.shape)
    a, b, c, d = (part.ravel() for part in (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]))
    return np.stack([u.ravel(), v.ravel()], axis=1), np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])


def assert_close(result: Floats, true: Floats, faceting: float = 0.0) -> None:
    """Nowhere shorter than the true distance, and at most `OVERESTIMATE` longer; `faceting`: what flat triangles on a
    round surface change."""
    assert len(result) > 50
    assert (result >= true * (1.0 - faceting) - 1e-12).all()
    assert (result <= true * (1.0 + OVERESTIMATE + faceting) + 1e-12).all()


@pytest.mark.parametrize("degrees", range(0, 180, 15))
def test_a_straight_line_in_the_plane(degrees: int) -> None:
    """In every direction to the triangles' edges."""
    flat, triangles = grid(np.linspace(-1, 1, 81), np.linspace(-1, 1, 81))
    angle = np.radians(degrees)
    height = flat @ np.array([np.cos(angle), np.sin(angle)])
    positions = np.column_stack([flat, np.zeros(len(flat))])
    result = distance_to_level(positions, triangles, 0.5 + height, 0.5, 0.4)
    # Nearer to the border the foot of the perpendicular may lie outside the square.
    inner = (np.linalg.norm(flat, axis=1) < 0.55) & (np.abs(height) < 0.3)
    assert_close(result[inner], np.abs(height)[inner])


def test_a_line_along_the_edges_is_exact() -> None:
    flat, triangles = grid(np.linspace(-1, 1, 41), np.linspace(-1, 1, 41))
    positions = np.column_stack([flat, np.zeros(len(flat))])
    result = distance_to_level(positions, triangles, 0.5 + flat[:, 0], 0.5, 5.0)
    assert np.allclose(result, np.abs(flat[:, 0]), atol=1e-12)


def test_a_screw_line_on_a_cylinder() -> None:
    radius = 0.3
    flat, triangles = grid(np.linspace(0.0, 1.5 * np.pi * radius, 181), np.linspace(-1, 1, 121))
    angle = flat[:, 0] / radius
    positions = np.column_stack([radius * np.cos(angle), flat[:, 1], radius * np.sin(angle)])
    way = np.array([np.cos(0.6), np.sin(0.6)])
    height = (flat - [0.7, 0.0]) @ way
    result = distance_to_level(positions, triangles, 0.5 + height, 0.5, 0.4)
    inner = (np.linalg.norm(flat - [0.7, 0.0], axis=1) < 0.5) & (np.abs(height) > 0.02) & (np.abs(height) < 0.3)
    assert_close(result[inner], np.abs(height)[inner], faceting=1e-3)


def test_a_circle_of_latitude_on_a_sphere() -> None:
    flat, triangles = grid(np.linspace(0.0, 2.0 * np.pi, 241), np.linspace(-1.4, 1.4, 161))
    longitude, latitude = flat.T
    positions = 2.0 * np.column_stack(
        [np.cos(latitude) * np.cos(longitude), np.sin(latitude), np.cos(latitude) * np.sin(longitude)]
    )
    result = distance_to_level(positions, triangles, latitude - 0.3 + 0.5, 0.5, 1.5)
    true = 2.0 * np.abs(latitude - 0.3)
    inner = (true < 1.4) & (true > 0.05)
    assert_close(result[inner], true[inner], faceting=1e-3)
