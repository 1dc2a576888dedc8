"""Smaller forms of masks keep what was asked for."""

from __future__ import annotations

import numpy as np
import pytest

from plica.mesh.arrays import Floats, Integers
from plica.mesh.painting import Painting, sampled
from plica.texture.atlas import atlas_of
from plica.texture.lookups import SkinLookups, lookups
from plica.texture.mask_sizes import SLACK, Sized, Sizer
from plica.texture.raster import Singles
from plica.texture.skin_points import SkinPoints, measured_points

SIZE = 256


def grid(count: int) -> tuple[Floats, Integers]:
    """A square island of count by count vertices."""
    line = np.linspace(0.05, 0.95, count)
    uv = np.stack(np.meshgrid(line, line), axis=-1).reshape(-1, 2)
    number = np.arange(count * count).reshape(count, count)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    return uv, np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])


def sized(weights: Floats, tolerance: float, count: int = 33) -> tuple[Sized, Singles]:
    """The sizes of a mask, and its full size."""
    uv, triangles = grid(count)
    sheet = atlas_of(uv, triangles, SIZE)
    full = sheet.image(weights)
    return Sizer(sheet, uv, triangles).sized(full, tolerance), full


def soft(count: int = 33) -> Floats:
    uv, _ = grid(count)
    return np.asarray(np.exp(-16.0 * ((uv - 0.5) ** 2).sum(axis=1)))


def cut(count: int = 33) -> Floats:
    """Half white, half black, with one row of triangles between."""
    uv, _ = grid(count)
    return np.asarray((uv[:, 0] > 0.5).astype(np.float64))


def dense(triangles: Integers, each: int) -> SkinPoints:
    """Places anywhere in the triangles, that nothing was fitted or measured at."""
    weights = np.random.default_rng(6).dirichlet((1.0, 1.0, 1.0), len(triangles) * each)
    return SkinPoints(np.repeat(np.arange(len(triangles)), each), weights)


def test_an_even_mask_needs_the_smallest_size() -> None:
    result, _ = sized(np.ones(33 * 33), 1.0 / 255.0)
    assert result.smallest(1.0 / 255.0) == 4
    assert (result.images[4] == 255).all()


@pytest.mark.parametrize("weights", [soft(), cut()], ids=["soft", "cut"])
def test_errors_are_what_a_lookup_on_the_mesh_finds(weights: Floats) -> None:
    """Found again with the lookup that painted regions use, on the images as a reader of the file would have them."""
    uv, triangles = grid(33)
    result, full = sized(weights, 1.0)
    points = measured_points(triangles).places(uv, triangles)
    exact = sampled(Painting(full.astype(np.float64)), points)
    for size, image in result.images.items():
        error = np.abs(sampled(Painting(image / 255.0), points) - exact).max()
        assert result.errors[size] == pytest.approx(error, abs=2e-6), size
    assert np.abs(result.on_skin - exact).max() < 2e-6


@pytest.mark.parametrize("weights", [soft(), cut()], ids=["soft", "cut"])
@pytest.mark.parametrize("tolerance", [0.01, 0.05, 0.1])
def test_the_tolerance_is_kept_where_nothing_was_measured(weights: Floats, tolerance: float) -> None:
    """At 32 other places in each triangle. That is no law, as errors are measured at points; it comes out so here."""
    uv, triangles = grid(33)
    result, full = sized(weights, tolerance)
    points = dense(triangles, 32).places(uv, triangles)
    image = result.images[result.smallest(tolerance)]
    assert len(image) < SIZE or tolerance == 0.01
    exact = sampled(Painting(full.astype(np.float64)), points)
    assert np.abs(sampled(Painting(image / 255.0), points) - exact).max() <= tolerance


@pytest.mark.parametrize("tolerance", [0.003, 0.01, 0.03, 0.1, 0.5])
@pytest.mark.parametrize("weights", [soft(), cut()], ids=["soft", "cut"])
def test_the_smallest_size_within_the_tolerance_is_taken(weights: Floats, tolerance: float) -> None:
    result, _ = sized(weights, tolerance)
    size = result.smallest(tolerance)
    assert result.errors[size] <= tolerance + SLACK
    assert size == 4 or result.errors[size // 2] > tolerance + SLACK


def test_a_tolerance_that_8_bits_cannot_keep_gives_the_full_size() -> None:
    result, _ = sized(soft(), 0.0)
    assert result.smallest(0.0) == SIZE
    assert sorted(result.images) == [SIZE // 2, SIZE], "the next size is there, so that advice can name its error"


def test_all_powers_of_two_are_there() -> None:
    result, _ = sized(soft(), 1.0)
    assert sorted(result.images) == [4, 8, 16, 32, 64, 128, 256]
    assert all(image.shape == (size, size) for size, image in result.images.items())


@pytest.mark.parametrize("size", [4, 64])
def test_lookups_are_those_of_paintings(size: int) -> None:
    random = np.random.default_rng(size)
    image, points = random.random((size, size)), random.random((200, 2)) * 1.4 - 0.2
    points = np.vstack([points, [[0.0, 0.0], [1.0, 1.0]]])
    result = lookups(points, size) @ image.reshape(-1).astype(np.float32)
    assert np.abs(result - sampled(Painting(image), points)).max() < 1e-5


@pytest.mark.parametrize("size", [4, 64, 256])
def test_places_that_see_something_are_found_and_see_it_to_the_last_bit(size: int) -> None:
    """Held against all lookups at once, as a sparse matrix, in textures that are black but for a few texels."""
    random = np.random.default_rng(size)
    corners = [(0, 0), (size - 1, 0), (size - 1, size - 1), (size // 2, size // 3), (size // 4, size - 1)]
    middles = np.array(corners)[:, ::-1] / size + 0.7 / size
    points = np.concatenate([random.random((3000, 2)) * 1.4 - 0.2, middles, [[0, 0], [1, 1], [0, 1], [np.nan, 0.5]]])
    made = SkinLookups(points)
    for corner in corners:
        image = np.zeros((size, size), np.float32)
        image[corner] = random.random()
        expected = lookups(points, size) @ image.reshape(-1)
        seeing = made.seeing(image)
        found = np.zeros(len(points), np.float32)
        found[seeing] = made.at(seeing, image)
        assert (found == expected).all() and expected.any()
        assert size < 64 or len(seeing) < 0.1 * len(points)
    whole = random.random((size, size)).astype(np.float32)
    every = np.arange(len(points))
    assert (made.at(every, whole) == lookups(points, size) @ whole.reshape(-1)).all()
    assert made.seeing(whole).tolist() == every[:-1].tolist()


def test_places_without_coordinates_see_nothing() -> None:
    result = lookups(np.array([[np.nan, 0.5], [0.5, 0.5]]), 8) @ np.ones(64, np.float32)
    assert result.tolist() == [0.0, 1.0]
