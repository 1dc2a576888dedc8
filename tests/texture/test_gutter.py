"""Which covered texel each texel of the gutter goes with, held against scipy's exact distance transform."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from plica.mesh.arrays import Floats
from plica.texture.gutter import BLOCK, EXACT, WHOLE, gutter_of
from plica.texture.raster import Flags


def patchy(size: int, seed: int, share: float) -> Flags:
    """Islands of all sizes, some of one texel."""
    random = np.random.default_rng(seed)
    smooth = ndimage.gaussian_filter(random.random((size, size)), 12.0)
    result: Flags = smooth > np.quantile(smooth, 1.0 - share)
    result[random.integers(0, size, 20), random.integers(0, size, 20)] = True
    return result


def distances(covered: Flags) -> tuple[Floats, Floats]:
    """Texels from each of the gutter's to the one it goes with, and to the nearest covered one (by scipy)."""
    gutter, behind = gutter_of(covered)
    size = len(covered)
    assert (gutter == np.flatnonzero(~covered)).all()
    assert covered.reshape(-1)[behind].all()
    exact = ndimage.distance_transform_edt(~covered).reshape(-1)[gutter]
    down, across = gutter // size - behind // size, gutter % size - behind % size
    return np.sqrt(down * down + across * across), exact


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("share", [0.02, 0.5, 0.95])
def test_large_textures_are_exact_near_islands_and_bounded_farther_out(seed: int, share: float) -> None:
    result, exact = distances(patchy(2 * WHOLE, seed, share))
    near = exact <= EXACT
    assert near.any()
    assert (result[near] == exact[near]).all()
    assert (result - exact).max() <= 2.0 * np.hypot(BLOCK - 1, BLOCK - 1) + 1e-9


@pytest.mark.parametrize("size", [1, 2, 4, 64, WHOLE])
def test_small_textures_are_exact_everywhere(size: int) -> None:
    covered = patchy(size, 1, 0.3) if size > 4 else np.eye(size, dtype=np.bool_)
    result, exact = distances(covered)
    assert (result == exact).all()


@pytest.mark.parametrize("size", [8, 2 * WHOLE])
def test_a_single_texel_fills_everything_and_none_fills_nothing(size: int) -> None:
    covered = np.zeros((size, size), dtype=np.bool_)
    gutter, behind = gutter_of(covered)
    assert (behind == gutter).all() and len(gutter) == size * size
    covered[3, 5] = True
    gutter, behind = gutter_of(covered)
    assert len(gutter) == size * size - 1
    assert (behind == 3 * size + 5).all()
    gutter, behind = gutter_of(np.ones((size, size), dtype=np.bool_))
    assert len(gutter) == len(behind) == 0
