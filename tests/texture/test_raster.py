"""Coverage at edges, weights, and texture layouts that are out of the ordinary."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.mesh.arrays import Floats, Integers
from plica.texture.raster import STEPS, rasterised

SQUARE = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
TWO = np.array([[0, 1, 2], [0, 2, 3]])


def fan(count: int, seed: int) -> tuple[Floats, Integers]:
    """The unit square cut into triangles between random points, without gaps (Delaunay's triangulation by scipy)."""
    from scipy.spatial import Delaunay

    random = np.random.default_rng(seed)
    uv = np.vstack([SQUARE, random.random((count, 2))])
    # Many corners exactly on the middles of texels, where ties are decided.
    uv[4 : 4 + count // 2] = (np.floor(uv[4 : 4 + count // 2] * 16) + 0.5) / 16
    uv = np.unique(uv, axis=0)
    triangles = np.asarray(Delaunay(uv).simplices, dtype=np.int64)
    turned = random.random(len(triangles)) < 0.5
    triangles[turned] = triangles[turned][:, [1, 0, 2]]
    return uv, triangles


@pytest.mark.parametrize("size", [1, 4, 16, 64])
def test_a_square_of_two_triangles_covers_each_texel_once(size: int) -> None:
    raster = rasterised(SQUARE, TWO, size)
    assert raster.covered.all()
    assert raster.others is None
    assert raster.report == (2, 0, 0, size * size, 0)


@pytest.mark.parametrize("seed", range(6))
def test_shared_edges_belong_to_exactly_one_triangle(seed: int) -> None:
    uv, triangles = fan(60, seed)
    raster = rasterised(uv, triangles, 16)
    assert raster.covered.all()
    assert raster.report.overlapping == 0


def test_a_middle_on_a_top_or_left_edge_is_covered_and_on_the_others_not() -> None:
    """The square from middle to middle: its top and left edges hold texels 0, its bottom and right ones texels 2."""
    corners = (SQUARE * 2.0 + 0.5) / 4.0
    for triangles in (TWO, TWO[:, ::-1]):
        covered = rasterised(corners, np.ascontiguousarray(triangles), 4).covered
        expected = np.zeros((4, 4), bool)
        expected[:2, :2] = True
        assert (covered == expected).all()


CORNER = st.tuples(st.integers(0, 64), st.integers(0, 64))


@given(st.tuples(CORNER, CORNER, CORNER))
@settings(max_examples=300)
def test_coverage_is_that_of_exact_whole_numbers(corners: tuple[tuple[int, int], ...]) -> None:
    """Every texel is tested by itself, with Python's whole numbers, corners on quarters of a texel."""
    size = 16
    raster = rasterised(np.array(corners) / 64.0, np.array([[0, 1, 2]]), size)
    (ax, ay), (bx, by), (cx, cy) = corners
    if (bx - ax) * (cy - ay) - (by - ay) * (cx - ax) < 0:
        (bx, by), (cx, cy) = (cx, cy), (bx, by)
    flat = (bx - ax) * (cy - ay) == (by - ay) * (cx - ax)

    def inside(x: int, y: int) -> bool:
        for (px, py), (qx, qy) in (((ax, ay), (bx, by)), ((bx, by), (cx, cy)), ((cx, cy), (ax, ay))):
            side = (qx - px) * (y - py) - (qy - py) * (x - px)
            top_or_left = qy < py or (qy == py and qx > px)
            if side < 0 or (side == 0 and not top_or_left):
                return False
        return True

    expected = [[not flat and inside(4 * column + 2, 4 * row + 2) for column in range(size)] for row in range(size)]
    assert (raster.covered == np.array(expected)).all()


def test_weights_give_back_the_middles_of_texels() -> None:
    uv, triangles = fan(40, 3)
    raster = rasterised(uv, triangles, 64)
    middles = np.stack([raster.texels % 64, raster.texels // 64], axis=1) / 64 + 0.5 / 64
    result = (raster.weights[:, :, None] * uv[raster.corners[raster.triangles]]).sum(axis=1)
    assert np.abs(result - middles).max() <= 1.0 / STEPS / 64
    assert np.abs(raster.weights.sum(axis=1) - 1.0).max() < 1e-12
    assert raster.weights.min() > -1e-3  # corners move by up to half a step, and some triangles are thin


def test_what_overlaps_is_counted_and_kept() -> None:
    uv = np.vstack([SQUARE, SQUARE * 0.5])
    raster = rasterised(uv, np.vstack([TWO, TWO + 4]), 8)
    assert raster.report.covered == 64
    assert raster.report.overlapping == 16
    assert raster.others is not None
    assert sorted(raster.others.texels) == [row * 8 + column for row in range(4) for column in range(4)]
    assert set(raster.others.triangles) == {2, 3}
    assert set(raster.triangles) == {0, 1}


@pytest.mark.parametrize("shift", [(1.0, 0.0), (-3.0, 7.0), (0.0, -1.0)])
def test_coordinates_in_another_repeat_land_on_the_same_texels(shift: tuple[float, float]) -> None:
    uv = SQUARE * 0.5 + 0.125
    here, there = rasterised(uv, TWO, 16), rasterised(uv + shift, TWO, 16)
    assert (here.texels == there.texels).all()
    assert (here.report.outside, there.report.outside) == (0, 2)


def test_a_triangle_over_the_border_goes_on_at_the_other_side() -> None:
    uv = np.array([[0.75, 0.0], [1.25, 0.0], [1.25, 1.0], [0.75, 1.0]])
    raster = rasterised(uv, TWO, 8)
    columns = sorted(set(raster.texels % 8))
    assert columns == [0, 1, 6, 7]
    assert raster.report.outside == 2


def test_coordinates_that_cannot_be_used_are_counted() -> None:
    uv = np.vstack([SQUARE, [[np.nan, 0.0], [0.0, 1e9], [5.0, 0.0]]])
    triangles = np.array([[0, 1, 2], [0, 1, 4], [0, 1, 5], [0, 6, 2], [0, 0, 1]])
    raster = rasterised(uv, triangles, 8)
    assert raster.report.unusable == 3
    assert set(raster.triangles) == {0}


def test_no_triangles_cover_nothing() -> None:
    raster = rasterised(SQUARE, np.zeros((0, 3), np.int64), 8)
    assert raster.report == (0, 0, 0, 0, 0)
    assert not raster.covered.any()
