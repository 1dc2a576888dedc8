"""Smaller forms of masks keep what was asked for."""

from __future__ import annotations

import numpy as np
import pytest

from plica.mesh.painting import Painting, sampled
from plica.texture.sheet import sheet_of
from plica.texture.sizes import SLACK, Sized, Sizer, lookups, points_of
from tests.texture.test_raster import fan

SIZE = 256


def grid(count: int) -> tuple[np.ndarray, np.ndarray]:
    """A square island of count by count vertices."""
    line = np.linspace(0.05, 0.95, count)
    uv = np.stack(np.meshgrid(line, line), axis=-1).reshape(-1, 2)
    number = np.arange(count * count).reshape(count, count)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    return uv, np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])


def sized(weights: np.ndarray, count: int = 33) -> Sized:
    uv, triangles = grid(count)
    sheet = sheet_of(uv, triangles, SIZE)
    return Sizer(sheet, uv, triangles).sized(sheet.spread(sheet.values(weights[None])[0]))


def soft(count: int = 33) -> np.ndarray:
    uv, _ = grid(count)
    return np.exp(-16.0 * ((uv - 0.5) ** 2).sum(axis=1))


def test_an_even_mask_needs_the_smallest_size() -> None:
    found = sized(np.ones(33 * 33))
    assert found.smallest(1.0 / 255.0) == 4
    assert (found.images[4] == 255).all()


def test_errors_are_what_a_lookup_on_the_mesh_finds() -> None:
    """Found again with the lookup that painted regions use, on the images as a reader of the file would have them."""
    weights = soft()
    uv, triangles = grid(33)
    sheet = sheet_of(uv, triangles, SIZE)
    full = sheet.spread(sheet.values(weights[None])[0])
    found = sized(weights)
    points = np.vstack([uv, uv[triangles].mean(axis=1)])
    exact = sampled(Painting(full.astype(np.float64)), points)
    for size, image in found.images.items():
        error = np.abs(sampled(Painting(image / 255.0), points) - exact).max()
        assert found.errors[size] == pytest.approx(error, abs=2e-6), size


@pytest.mark.parametrize("tolerance", [0.003, 0.01, 0.03, 0.1, 0.5])
def test_the_smallest_size_within_the_tolerance_is_taken(tolerance: float) -> None:
    found = sized(soft())
    size = found.smallest(tolerance)
    assert found.errors[size] <= tolerance + SLACK
    assert size == 4 or found.errors[size // 2] > tolerance + SLACK
    assert size < SIZE


def test_a_tolerance_that_8_bits_cannot_keep_gives_the_full_size() -> None:
    assert sized(soft()).smallest(0.0) == SIZE


def test_all_powers_of_two_are_there() -> None:
    found = sized(soft())
    assert sorted(found.images) == [4, 8, 16, 32, 64, 128, 256]
    assert all(image.shape == (size, size) for size, image in found.images.items())


@pytest.mark.parametrize("size", [4, 64])
def test_lookups_are_those_of_paintings(size: int) -> None:
    random = np.random.default_rng(size)
    image, points = random.random((size, size)), random.random((200, 2)) * 1.4 - 0.2
    points = np.vstack([points, [[0.0, 0.0], [1.0, 1.0]]])
    found = lookups(points, size) @ image.reshape(-1).astype(np.float32)
    assert np.abs(found - sampled(Painting(image), points)).max() < 1e-5


def test_points_are_used_vertices_and_middles_of_triangles_with_coordinates() -> None:
    uv, triangles = fan(10, 1)
    known = len(np.unique(triangles))
    more = np.vstack([uv, [[np.nan, 0.0], [0.3, 0.3]]])
    used = np.vstack([triangles, [[0, 1, len(uv)]]])
    assert len(points_of(more, used)) == known + len(triangles)
