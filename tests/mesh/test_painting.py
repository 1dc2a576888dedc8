"""Images as weights."""

from __future__ import annotations

import io
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from scipy.ndimage import map_coordinates

from plica.mesh.painting import ImageError, Painting, outside, read_painting, sampled


def saved(image: Image.Image, kind: str = "PNG") -> bytes:
    content = io.BytesIO()
    image.save(content, kind)
    return content.getvalue()


def image_of(values: list[list[int]], dtype: type = np.uint8) -> Image.Image:
    return Image.fromarray(np.array(values, dtype=dtype))


@given(st.integers(0, 1000), st.integers(1, 9), st.integers(1, 9))
def test_sampling_is_bilinear_between_the_middles_of_texels(seed: int, rows: int, columns: int) -> None:
    """Against `scipy.ndimage.map_coordinates`, order 1, with the border going on."""
    random = np.random.default_rng(seed)
    values, uv = random.random((rows, columns)), random.random((40, 2))
    uv[:4] = [[0, 0], [1, 1], [0, 1], [1, 0]]
    places = np.stack([uv[:, 1] * rows - 0.5, uv[:, 0] * columns - 0.5])
    expected = map_coordinates(values, places, order=1, mode="nearest")
    result = sampled(Painting(values), uv)
    assert np.allclose(result, expected, atol=1e-12)
    assert ((result >= 0.0) & (result <= 1.0)).all()
    # glTF 2.0's default sampler repeats.
    assert np.allclose(sampled(Painting(values), uv[4:] + np.array([3.0, -2.0])), expected[4:], atol=1e-9)


def test_v_runs_down() -> None:
    painting = read_painting(saved(image_of([[255, 255], [0, 0]])))
    assert sampled(painting, np.array([[0.5, 0.1], [0.5, 0.9]])).tolist() == [1.0, 0.0]


def test_how_many_coordinates_lie_outside() -> None:
    assert outside(np.array([[0.0, 1.0], [1.0000001, 0.5], [0.5, -0.1], [-1.0, 2.0], [np.nan, np.nan]])) == 3


def test_eight_and_sixteen_bits() -> None:
    eight = read_painting(saved(image_of([[0, 51, 255]])))
    assert np.asarray(eight.values).tolist() == [[0.0, 0.2, 1.0]]
    sixteen = read_painting(saved(image_of([[0, 1, 32768, 65535]], np.uint16)))
    assert np.asarray(sixteen.values) == pytest.approx(np.array([[0.0, 1 / 65535, 32768 / 65535, 1.0]]), abs=1e-15)
    assert not (sixteen.in_colour or sixteen.transparent)
    assert read_painting(saved(image_of([[0, 1]]).convert("1"))).values.shape == (1, 2)


def test_colour_counts_by_its_luma() -> None:
    """ITU-R BT.709: 0.2126, 0.7152, 0.0722."""
    image = Image.new("RGB", (3, 1))
    for x, colour in enumerate([(255, 0, 0), (0, 255, 0), (0, 0, 255)]):
        image.putpixel((x, 0), colour)
    painting = read_painting(saved(image))
    assert painting.in_colour
    assert np.asarray(painting.values)[0] == pytest.approx([0.2126, 0.7152, 0.0722])
    grey = read_painting(saved(Image.new("RGB", (2, 2), (77, 77, 77))))
    assert not grey.in_colour
    assert np.array_equal(grey.values, np.full((2, 2), 77 / 255.0))
    palette = read_painting(saved(Image.new("RGB", (2, 2), (255, 0, 0)).convert("P")))
    assert palette.in_colour


def test_what_is_transparent_is_outside() -> None:
    image = Image.new("LA", (2, 1), (255, 255))
    image.putpixel((1, 0), (255, 0))
    painting = read_painting(saved(image))
    assert painting.transparent
    assert np.asarray(painting.values).tolist() == [[1.0, 0.0]]
    hidden = Image.new("RGBA", (2, 1), (255, 255, 255, 255))
    hidden.putpixel((1, 0), (255, 0, 0, 0))
    assert not read_painting(saved(hidden)).in_colour


@pytest.mark.parametrize("cut", [0, 1, 8, 20, 33, 45, -1, -13])
def test_damaged_images_are_refused(cut: int) -> None:
    whole = saved(Image.effect_noise((32, 32), 90.0))
    with pytest.raises(ImageError):
        read_painting(whole[: len(whole) // 2] if cut == -13 else whole[:cut] if cut >= 0 else b"GIF89a" + whole)


@given(st.binary(max_size=60), st.integers(0, 400))
def test_no_bytes_end_in_another_error(noise: bytes, place: int) -> None:
    whole = saved(image_of([[0, 100], [200, 255]]))
    for data in (noise, whole[:place] + noise + whole[place:], whole[:8] + noise):
        try:
            values = np.asarray(read_painting(data).values)
        except ImageError:
            continue
        assert ((values >= 0.0) & (values <= 1.0)).all()


def test_a_huge_image_is_refused_unread() -> None:
    content = bytearray(saved(Image.new("L", (1, 1))))
    content[16:24] = (60_000).to_bytes(4, "big") * 2
    content[29:33] = zlib.crc32(bytes(content[12:29])).to_bytes(4, "big")
    with pytest.raises(ImageError, match="60000 x 60000 texels, more than the limit"):
        read_painting(bytes(content))
