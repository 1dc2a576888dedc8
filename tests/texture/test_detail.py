"""The reference blending: closed forms, identities, and stills."""

from __future__ import annotations

import io
from math import atan2, cos, sin, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some
from PIL import Image
from scipy.spatial.transform import Rotation

from plica.mesh.arrays import Floats
from plica.texture.detail_maps import (
    DetailMaps,
    Mixing,
    blended_map,
    factor_at,
    mixed,
    normals_at,
    reoriented,
    still,
)
from plica.texture.normal_maps import FLAT, NormalMap, decoded, read_normal_map, unit

RANDOM = np.random.default_rng(11)
MIXINGS: tuple[Mixing, ...] = ("plain", "reoriented")
tilts = some.floats(-1.4, 1.4)


def tilted(angle: float) -> Floats:
    """The unit normal that leans by an angle toward x."""
    return np.array((sin(angle), 0.0, cos(angle)))


def outward(count: int) -> Floats:
    """Unit normals that point out of the skin."""
    result = unit(RANDOM.normal(size=(count, 3)))
    result[:, 2] = np.abs(result[:, 2])
    return result


# ---- mixing


@pytest.mark.parametrize("mixing", MIXINGS)
def test_factor_nought_is_the_relaxed_map(mixing: Mixing) -> None:
    relaxed, contracted = outward(500), outward(500)
    assert np.allclose(mixed(relaxed, contracted, np.zeros(500), mixing), relaxed, rtol=0, atol=1e-14)


def test_factor_one_is_the_contracted_map() -> None:
    relaxed, contracted = outward(500), outward(500)
    assert np.allclose(mixed(relaxed, contracted, np.ones(500), "plain"), contracted, rtol=0, atol=1e-14)
    layered = mixed(relaxed, contracted, np.ones(500), "reoriented")
    assert np.allclose(layered, reoriented(relaxed, contracted), rtol=0, atol=1e-14)


@given(tilts, tilts, some.floats(0.0, 1.0))
def test_plain_mixing_of_two_tilts(one: float, other: float, share: float) -> None:
    """Closed form: the angle of the mixed vector is that of the mixed sines over the mixed cosines."""
    expected = atan2(sin(one) * (1 - share) + sin(other) * share, cos(one) * (1 - share) + cos(other) * share)
    result = mixed(tilted(one), tilted(other), np.array(share), "plain")
    assert np.allclose(result, tilted(expected), rtol=0, atol=1e-12)


def test_flat_with_any_normal_gives_that_normal() -> None:
    """Identities of reoriented normal mapping (Barre-Brisebois and Hill 2012), in both places."""
    normals = outward(500)
    assert np.allclose(reoriented(np.broadcast_to(FLAT, normals.shape), normals), normals, rtol=0, atol=1e-14)
    assert np.allclose(reoriented(normals, np.broadcast_to(FLAT, normals.shape)), normals, rtol=0, atol=1e-14)


def test_reoriented_is_the_formula_of_the_paper() -> None:
    """r = t dot(t, u) / t.z - u with t = n1 + (0, 0, 1), u = n2 (-1, -1, 1), which for unit n1 keeps u's length."""
    base, added = outward(500), outward(500)
    t, u = base + np.array((0.0, 0.0, 1.0)), added * (-1.0, -1.0, 1.0)
    expected = t * (t * u).sum(axis=1, keepdims=True) / t[:, 2:] - u
    assert np.allclose(np.linalg.norm(expected, axis=1), 1.0)
    assert np.allclose(reoriented(base, added), expected, rtol=0, atol=1e-12)


def test_reoriented_turns_as_the_base_is_turned() -> None:
    """The shortest rotation from flat to the base, by scipy, applied to the added normal."""
    for base, added in zip(outward(100), outward(100), strict=True):
        axis = np.cross(FLAT, base)
        turn = Rotation.from_rotvec(axis / np.linalg.norm(axis) * np.arctan2(np.linalg.norm(axis), base[2]))
        assert np.allclose(reoriented(base, added), turn.apply(added), rtol=0, atol=1e-12)


@given(some.floats(-0.7, 0.7), some.floats(-0.7, 0.7), some.floats(0.0, 1.0))
def test_reoriented_tilts_add_up(one: float, other: float, share: float) -> None:
    """Closed form: tilts about one axis add; fading from flat keeps tan = s sin / (1 - s + s cos)."""
    faded = atan2(share * sin(other), 1 - share + share * cos(other))
    result = mixed(tilted(one), tilted(other), np.array(share), "reoriented")
    assert np.allclose(result, tilted(one + faded), rtol=0, atol=1e-12)
    assert tan(faded) == pytest.approx(share * sin(other) / (1 - share + share * cos(other)), abs=1e-12)


@pytest.mark.parametrize("mixing", MIXINGS)
def test_no_map_gives_anything_but_unit_normals(mixing: Mixing) -> None:
    """Whatever is stored, black and inward texels and opposite vectors included."""
    corners = np.stack(np.meshgrid(*[(0.0, 128 / 255, 1.0)] * 3), axis=-1).reshape(-1, 3)
    one, other = (part.reshape(-1, 3) for part in np.broadcast_arrays(corners[:, None], corners[None, :]))
    with np.errstate(all="raise"):
        for share in (0.0, 0.5, 1.0):
            result = mixed(decoded(one), decoded(other), np.full(len(one), share), mixing)
            assert np.allclose(np.linalg.norm(result, axis=1), 1.0)


# ---- factors and places


def image(rows: int, columns: int, bits: int = 8) -> NormalMap:
    values = outward(rows * columns).reshape(rows, columns, 3) * 0.5 + 0.5
    return NormalMap(np.rint(values * (2**bits - 1)).astype(np.uint8 if bits == 8 else np.uint16), bits)


MAPS = DetailMaps(
    image(8, 16),
    image(8, 16),
    {"brow": RANDOM.random((8, 16)), "nose": RANDOM.random((4, 4)), "white": np.ones((2, 2))},
)


def middles(rows: int, columns: int) -> Floats:
    down, across = np.mgrid[0:rows, 0:columns]
    return np.stack([(across + 0.5) / columns, (down + 0.5) / rows], axis=-1).reshape(-1, 2)


def test_factors_are_clamped_sums() -> None:
    uv = middles(8, 16)
    brow = MAPS.masks["brow"].reshape(-1)
    assert np.allclose(factor_at(MAPS, {"brow": 0.5}, uv), 0.5 * brow, rtol=0, atol=1e-15)
    assert np.allclose(factor_at(MAPS, {"brow": 0.5, "white": 0.25}, uv), 0.5 * brow + 0.25, rtol=0, atol=1e-15)
    assert np.allclose(factor_at(MAPS, {"brow": 1.0, "white": 0.75}, uv), np.minimum(brow + 0.75, 1.0))
    assert np.allclose(factor_at(MAPS, {"brow": 1.0, "white": -0.5}, uv), np.maximum(brow - 0.5, 0.0))
    assert factor_at(MAPS, {}, uv).tolist() == [0.0] * 128
    assert factor_at(MAPS, {"white": 1.0}, uv).tolist() == [1.0] * 128, "a driver at its extreme is pure white"


def test_masks_over_another_uv_set() -> None:
    uv, other = middles(8, 16), RANDOM.random((128, 2))
    there = factor_at(MAPS, {"brow": 1.0}, other)
    assert np.array_equal(factor_at(MAPS, {"brow": 1.0}, uv, {"brow": other}), there)
    first = normals_at(MAPS, {"brow": 1.0}, uv, {"brow": other})
    assert not np.allclose(first, normals_at(MAPS, {"brow": 1.0}, uv))


# ---- whole maps


@pytest.mark.parametrize("mixing", MIXINGS)
def test_the_blended_map_is_the_normals_at_its_texels(mixing: Mixing) -> None:
    maps = DetailMaps(MAPS.relaxed, MAPS.contracted, MAPS.masks, mixing)
    strengths = {"brow": 0.8, "nose": 0.3}
    result = blended_map(maps, strengths)
    assert result.shape == (8, 16, 3)
    factor = factor_at(maps, strengths, middles(8, 16)).reshape(8, 16)
    expected = mixed(decoded(maps.relaxed.stored / 255.0), decoded(maps.contracted.stored / 255.0), factor, mixing)
    assert np.allclose(result, expected, rtol=0, atol=1e-12)


def test_bands_leave_no_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = still(MAPS, {"brow": 0.8})
    monkeypatch.setattr("plica.texture.detail_maps.TEXELS_AT_ONCE", 48)
    assert still(MAPS, {"brow": 0.8}) == whole


def test_a_still_at_rest_is_the_relaxed_map_within_a_step() -> None:
    """Within one: texels of 8 bits do not have length 1 exactly, those of the still do as nearly as 8 bits allow."""
    relaxed = np.asarray(read_normal_map(still(MAPS, {"brow": 0.0})).stored).astype(int)
    assert np.abs(relaxed - MAPS.relaxed.stored).max() <= 1
    contracted = np.asarray(read_normal_map(still(MAPS, {"white": 1.0})).stored).astype(int)
    assert np.abs(contracted - MAPS.contracted.stored).max() <= 1


def test_a_still_is_plain_png_of_the_larger_size() -> None:
    maps = DetailMaps(image(8, 16, 16), image(4, 32), MAPS.masks)
    content = still(maps, {"nose": 1.0})
    assert content == still(maps, {"nose": 1.0})
    with Image.open(io.BytesIO(content)) as opened:
        assert (opened.mode, opened.size, opened.info) == ("RGB", (32, 8), {})
