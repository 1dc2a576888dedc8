"""Normal maps that are none, or not quite, are told; those that are right are not."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats
from plica.rig.surfaces import Detail
from plica.texture.normal_diagnostics import check_normal_map, find_maps, measured, with_curve, without_curve
from plica.texture.normal_maps import NormalMap, unit
from plica.workspace import Refused

SIZE = 96


def heights(seed: int = 1, steep: float = 1.2) -> Floats:
    """Hills with slopes in all directions: a sum of waves."""
    random = np.random.default_rng(seed)
    rows, columns = np.mgrid[0:SIZE, 0:SIZE] * (2.0 * np.pi / SIZE)
    result = np.zeros((SIZE, SIZE))
    for _ in range(12):
        across, down = random.integers(-6, 7, 2)
        result += random.normal() * np.sin(across * columns + down * rows + random.uniform(0, 6))
    return result * steep


def normals(height: Floats, green: float = 1.0) -> Floats:
    """Normals of a height field by differences; y up, so green falls where rows rise."""
    down, right = np.gradient(height)
    return unit(np.stack([-right, green * down, np.ones_like(height)], axis=-1))


def stored(vectors: Floats, bits: int = 8) -> NormalMap:
    top = 2**bits - 1
    kind = np.uint8 if bits == 8 else np.uint16
    return NormalMap(np.rint((vectors * 0.5 + 0.5).clip(0.0, 1.0) * top).astype(kind), bits)


def told(image: NormalMap) -> list[str]:
    diagnostics = Diagnostics()
    check_normal_map(image, "maps/relaxed.png", None, diagnostics)
    return [each.name for each in diagnostics.all]


GOOD = normals(heights())


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("steep", [0.0, 0.05, 0.3, 1.2])
def test_maps_that_are_right(steep: float, bits: int) -> None:
    assert told(stored(normals(heights(steep=steep)), bits)) == []


def test_black_texels_hold_nothing() -> None:
    image = stored(GOOD)
    half = image.stored.copy()
    half[: SIZE * 2 // 3] = 0
    assert told(NormalMap(half, 8)) == []
    assert measured(NormalMap(half, 8)).painted == SIZE * SIZE // 3
    assert told(NormalMap(np.zeros_like(half), 8)) == ["not-a-normal-map"]


@pytest.mark.parametrize("steep", [0.0, 0.3, 1.2])
@pytest.mark.parametrize("curve", [with_curve, without_curve])
@pytest.mark.parametrize("bits", [8, 16])
def test_maps_treated_as_colour(bits: int, curve: object, steep: float) -> None:
    top = 2**bits - 1
    values = stored(normals(heights(steep=steep)), bits).stored / top
    spoilt = np.rint(curve(values) * top)  # type: ignore[operator]
    assert told(NormalMap(spoilt.astype(np.uint8 if bits == 8 else np.uint16), bits)) == ["normal-map-as-colour"]


def test_the_transfer_curves_at_known_values() -> None:
    """IEC 61966-2-1; 0.735357 and 0.214041 are its values at one half (computed from the formula, from memory)."""
    assert with_curve(np.array(0.5)) == pytest.approx(0.735357, abs=1e-6)
    assert without_curve(np.array(0.5)) == pytest.approx(0.214041, abs=1e-6)
    ramp = np.linspace(0, 1, 1001)
    assert np.allclose(without_curve(with_curve(ramp)), ramp, atol=1e-6)


def test_pictures_and_maps_of_object_space_are_none() -> None:
    random = np.random.default_rng(3)
    assert told(NormalMap(random.integers(0, 256, (SIZE, SIZE, 3)).astype(np.uint8), 8)) == ["not-a-normal-map"]
    grey = np.repeat(random.integers(0, 256, (SIZE, SIZE, 1)), 3, axis=2).astype(np.uint8)
    assert told(NormalMap(grey, 8)) == ["not-a-normal-map"]
    assert told(stored(unit(random.normal(size=(SIZE, SIZE, 3))))) == ["not-a-normal-map"]
    two_channels = stored(GOOD).stored.copy()
    two_channels[..., 2] = 0
    assert told(NormalMap(two_channels, 8)) == ["not-a-normal-map"]


def test_short_vectors() -> None:
    short = GOOD.copy()
    short[: SIZE // 5] *= 0.8
    assert told(stored(short)) == ["normals-off-unit"]
    short = GOOD.copy()
    short[:1] *= 0.8
    assert told(stored(short)) == []


@pytest.mark.parametrize("seed", range(5))
def test_green_downward_is_found(seed: int) -> None:
    assert told(stored(normals(heights(seed), -1.0))) == ["normals-reversed"]
    assert told(stored(normals(heights(seed)) * (-1.0, 1.0, 1.0))) == ["normals-reversed"]
    assert told(stored(normals(heights(seed)) * (-1.0, -1.0, 1.0))) == [], (
        "pits instead of hills are a height field too"
    )


def test_furrows_in_one_direction_tell_nothing_about_green() -> None:
    rows = np.mgrid[0:SIZE, 0:SIZE][0] * (2.0 * np.pi / SIZE)
    assert told(stored(normals(5.0 * np.sin(4.0 * rows), -1.0))) == []


def png(image: NormalMap) -> bytes:
    content = io.BytesIO()
    Image.fromarray(image.stored).save(content, "PNG")
    return content.getvalue()


def test_pairs_of_maps() -> None:
    other = png(stored(normals(heights(2))))
    small = png(stored(normals(heights(2))[:48, :48]))
    files = {"a.png": png(stored(GOOD)), "b.png": other, "small.png": small, "text.png": b"plica 1"}

    def pair(relaxed: str, contracted: str) -> tuple[bool, list[str]]:
        def read(file: str) -> bytes | Refused:
            return files.get(file, Refused("missing-file", {"file": file, "reason": "not there"}))

        diagnostics = Diagnostics()
        detail = Detail("fur", relaxed, contracted, None, None, "plain")
        maps = find_maps(detail, read, None, diagnostics)
        return maps is not None, [each.name for each in diagnostics.all]

    assert pair("a.png", "b.png") == (True, [])
    assert pair("a.png", "a.png") == (True, ["normal-maps-alike"])
    assert pair("a.png", "small.png") == (True, ["normal-maps-of-two-sizes"])
    assert pair("a.png", "text.png") == (False, ["unreadable-normal-map"])
    assert pair("none.png", "b.png") == (False, ["missing-file"])
