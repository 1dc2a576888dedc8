"""Reading normal maps as they are stored, of 8 and 16 bits; decoding; sampling."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from plica.texture.normal_maps import ImageError, decoded, encoded, read_normal_map, sampled, sampled_on_grid, unit

RANDOM = np.random.default_rng(7)


def saved(pixels: NDArray[np.uint8], form: str = "PNG") -> bytes:
    content = io.BytesIO()
    Image.fromarray(pixels).save(content, form)
    return content.getvalue()


def wide_png(pixels: NDArray[np.uint16], filtered: bool) -> bytes:
    """A PNG of 16 bits to a channel, put together from the standard (PNG, third edition, W3C 2025; sections 5, 9, 11).

    `filtered` stores each row as its difference to the row above (filter type 2).
    """
    rows, columns, channels = pixels.shape
    data = pixels.astype(">u2").view(np.uint8).reshape(rows, -1)
    if filtered:
        data = data - np.concatenate([np.zeros_like(data[:1]), data[:-1]])
    lines = b"".join(bytes((2 if filtered else 0,)) + row.tobytes() for row in data)
    header = struct.pack(">IIBBBBB", columns, rows, 16, {3: 2, 4: 6}[channels], 0, 0, 0)

    def chunk(kind: bytes, content: bytes) -> bytes:
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))

    parts = [chunk(b"IHDR", header), chunk(b"IDAT", zlib.compress(lines)), chunk(b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


@pytest.mark.parametrize("form", ["PNG", "TIFF", "TGA", "BMP"])
def test_eight_bits(form: str) -> None:
    pixels = RANDOM.integers(0, 256, (5, 7, 3)).astype(np.uint8)
    image = read_normal_map(saved(pixels, form))
    assert (image.bits, image.size, image.largest) == (8, (7, 5), 255.0)
    assert np.array_equal(image.stored, pixels)


@pytest.mark.parametrize("filtered", [False, True])
@pytest.mark.parametrize("channels", [3, 4])
def test_sixteen_bits_keep_both_bytes(channels: int, filtered: bool) -> None:
    pixels = RANDOM.integers(0, 65536, (9, 6, channels)).astype(np.uint16)
    image = read_normal_map(wide_png(pixels, filtered))
    assert (image.bits, image.size, image.largest) == (16, (6, 9), 65535.0)
    assert np.array_equal(image.stored, pixels[..., :3])


def test_transparency_and_palettes_change_nothing() -> None:
    pixels = RANDOM.integers(0, 256, (4, 4, 4)).astype(np.uint8)
    assert np.array_equal(read_normal_map(saved(pixels)).stored, pixels[..., :3])
    palette = Image.fromarray(pixels[..., :3]).quantize(16)
    content = io.BytesIO()
    palette.save(content, "PNG")
    assert np.array_equal(read_normal_map(content.getvalue()).stored, np.asarray(palette.convert("RGB")))


def test_a_colour_profile_or_gamma_chunk_changes_nothing() -> None:
    pixels = RANDOM.integers(0, 256, (4, 4, 3)).astype(np.uint8)
    plain = saved(pixels)
    gamma = struct.pack(">I", 4) + b"gAMA" + struct.pack(">I", 45455)
    gamma += struct.pack(">I", zlib.crc32(gamma[4:]))
    assert np.array_equal(read_normal_map(plain[:33] + gamma + plain[33:]).stored, pixels)


@pytest.mark.parametrize(
    ("data", "part"),
    [
        (b"", "no image"),
        (b"plica 1", "no image"),
        (saved(np.zeros((4, 4, 3), np.uint8))[:45], "damaged"),
        (saved(np.zeros((4, 4), np.uint8)), "not in colour"),
        (saved(np.zeros((4, 4), np.uint16)), "not in colour"),
    ],
    ids=["empty", "text", "cut", "grey", "grey of 16 bits"],
)
def test_what_is_no_normal_map_is_refused_in_words(data: bytes, part: str) -> None:
    with pytest.raises(ImageError, match=part):
        read_normal_map(data)


def test_decoding_follows_gltf() -> None:
    """glTF 2.0, section 3.9.3: red, green and blue [0 to 255] map to x, y and z [-1 to 1]."""
    assert decoded(np.array((0.0, 1.0, 0.5))).tolist() == [-1.0, 1.0, 0.0]


def test_encoding_rounds_to_the_nearest() -> None:
    assert encoded(np.array((-1.0, 0.0, 1.0))).tolist() == [0, 128, 255]
    normals = unit(RANDOM.normal(size=(1000, 3)))
    assert np.abs(decoded(encoded(normals) / 255.0) - normals).max() <= 1.0 / 255.0 + 1e-6


def test_unit_vectors_and_the_null_vector() -> None:
    vectors = np.array(((0.0, 0.0, 0.0), (0.0, 3.0, 4.0), (-2.0, 0.0, 0.0)))
    assert unit(vectors).tolist() == [[0.0, 0.0, 1.0], [0.0, 0.6, 0.8], [-1.0, 0.0, 0.0]]


def test_sampling_agrees_with_scipy() -> None:
    """scipy.ndimage.map_coordinates with repeating borders (`grid-wrap`), first order."""
    values = RANDOM.random((5, 8, 3))
    uv = np.concatenate([RANDOM.uniform(-1.5, 2.5, (500, 2)), [(0.0, 0.0), (1.0, 1.0), (0.0, 0.5), (0.0625, 0.1)]])
    places = np.stack([uv[:, 1] * 5 - 0.5, uv[:, 0] * 8 - 0.5])
    for channel in range(3):
        expected = ndimage.map_coordinates(values[..., channel], places, order=1, mode="grid-wrap")
        assert np.allclose(sampled(values, uv)[:, channel], expected, rtol=0, atol=1e-12)
        assert np.allclose(sampled(values[..., channel], uv), expected, rtol=0, atol=1e-12)


def test_a_grid_is_sampled_as_its_places() -> None:
    values, u, v = RANDOM.random((5, 8, 3)), RANDOM.uniform(-1, 2, 9), RANDOM.uniform(-1, 2, 7)
    places = np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2)
    for image in (values, values[..., 0]):
        expected = sampled(image, places).reshape(7, 9, *image.shape[2:])
        assert np.allclose(sampled_on_grid(image, u, v), expected, rtol=0, atol=1e-14)
