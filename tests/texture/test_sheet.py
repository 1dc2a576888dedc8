"""Masks over a whole texture: gutters, seams and what overlaps."""

from __future__ import annotations

import numpy as np

from plica.mesh.arrays import Floats, Integers
from plica.mesh.painting import Painting, sampled
from plica.texture.atlas import atlas_of
from plica.texture.raster import Singles

SQUARE = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
TWO = np.array([[0, 1, 2], [0, 2, 3]])


def islands() -> tuple[Floats, Integers]:
    """Two squares with a gutter between them."""
    return np.vstack([SQUARE * 0.3 + 0.1, SQUARE * 0.3 + (0.6, 0.55)]), np.vstack([TWO, TWO + 4])


def mask(uv: Floats, triangles: Integers, weights: Floats, size: int = 64) -> Singles:
    return atlas_of(uv, triangles, size).image(weights)


def test_lookups_at_borders_of_islands_bring_nothing_in_from_outside() -> None:
    """A linear weight is found again everywhere on both islands, up to their very corners."""
    uv, triangles = islands()
    weights = np.concatenate([0.2 + 0.5 * SQUARE[:, 0] + 0.1 * SQUARE[:, 1], 0.9 - 0.6 * SQUARE[:, 1]])
    image = Painting(mask(uv, triangles, weights).astype(np.float64))
    inside = np.random.default_rng(2).random((500, 2))
    points = np.vstack([inside, SQUARE])
    first = sampled(image, points * 0.3 + 0.1)
    second = sampled(image, points * 0.3 + (0.6, 0.55))
    assert np.abs(first - (0.2 + 0.5 * points[:, 0] + 0.1 * points[:, 1])).max() < 1e-3
    assert np.abs(second - (0.9 - 0.6 * points[:, 1])).max() < 1e-3


def test_the_gutter_belongs_to_the_nearest_island() -> None:
    uv, triangles = islands()
    image = mask(uv, triangles, np.repeat([1.0, 0.0], 4))
    assert (np.minimum(image, 1.0 - image) < 1e-6).all()
    assert image[0, 0] > 0.5
    assert image[-1, -1] == 0.0


def test_smaller_levels_of_a_white_island_stay_white() -> None:
    """Where all skin is white, every texel is, so no mean of texels is darker."""
    uv, triangles = islands()
    assert (mask(uv, triangles, np.ones(8)) >= np.float32(1.0 - 1e-6)).all()


def test_values_stay_within_0_and_1_where_they_go_on_beyond_edges() -> None:
    uv, triangles = islands()
    image = mask(uv, triangles, np.tile([0.0, 1.0, 1.0, 0.0], 2))
    assert 0.0 <= image.min() <= image.max() <= 1.0


def test_overlapping_skin_gets_the_greatest_weight_and_is_counted() -> None:
    uv, triangles = np.vstack([SQUARE, SQUARE * 0.5]), np.vstack([TWO, TWO + 4])
    weights = np.stack([np.repeat([0.25, 0.75], 4), np.repeat([0.5, 0.5], 4), np.repeat([0.75, 0.25], 4)])
    sheet = atlas_of(uv, triangles, 8)
    images = [sheet.image(row) for row in weights]
    assert images[0][0, 0] == np.float32(0.75)
    assert images[0][7, 7] == np.float32(0.25)
    assert np.allclose(images[2], 0.75)
    assert [sheet.disagreement(row, 0.01) for row in weights] == [16, 0, 16]


def test_a_layout_that_covers_nothing_gives_black() -> None:
    uv = np.full((4, 2), np.nan)
    assert not mask(uv, TWO, np.ones(4), 8).any()


def moved(uv: Floats, size: int, across: int, down: int) -> Floats:
    """Coordinates that many texels farther on."""
    return uv + np.array([across, down]) / size


def test_skin_that_goes_on_at_the_other_side_has_the_values_that_it_has_elsewhere() -> None:
    """A square over the corner of the texture, against the same one wholly inside, texel for texel."""
    size, rng = 32, np.random.default_rng(6)
    uv, weights = np.vstack([SQUARE, [[0.4, 0.6]]]) * 0.4 + 0.2, rng.random(5)
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    inside = atlas_of(uv, triangles, size)
    over = atlas_of(moved(uv, size, 19, 21), triangles, size)
    back = np.roll(over.image(weights), (-21, -19), axis=(0, 1))
    assert (np.roll(over.covered, (-21, -19), axis=(0, 1)) == inside.covered).all()
    assert np.abs(back - inside.image(weights))[inside.covered].max() < 1e-6
    mixed = np.roll(over.mixed(uv[:, :1]).reshape(size, size), (-21, -19), axis=(0, 1))
    assert np.abs(mixed - inside.mixed(uv[:, :1]).reshape(size, size))[inside.covered].max() < 1e-6
    assert np.abs(mixed - (np.arange(size) + 0.5) / size)[inside.covered].max() < 1e-3


def test_in_a_large_texture_the_gutter_has_its_islands_values_far_out_too() -> None:
    uv, triangles = islands()
    image = mask(uv, triangles, np.repeat([1.0, 0.0], 4), 512)
    assert (np.minimum(image, 1.0 - image) < 1e-6).all()
    assert image[0, 0] > 0.5
    assert image[-1, -1] == 0.0


def test_a_vertex_alone_changes_its_triangles_and_their_gutter_and_nothing_else() -> None:
    """Every vertex by itself; tiles that it has no say in are skipped, so all together must make the whole."""
    uv, triangles = islands()
    sheet = atlas_of(uv, triangles, 64)
    alone = np.array([sheet.image(row) for row in np.eye(8)])
    assert (alone[:, sheet.held].sum(axis=0) >= 1.0 - 1e-6).all()  # cut off at 0 and 1 beyond edges
    assert np.abs(alone[:, sheet.covered].sum(axis=0) - 1.0).max() < 1e-6
    assert (alone[:4, 40:, 40:] == 0.0).all()
    assert (alone[4:, :24, :24] == 0.0).all()
