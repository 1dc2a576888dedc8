"""Images of film's sizes work, in four bytes a texel and tiles; what an image says of itself is not believed."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from plica import limits
from plica.mesh.images import Banded, ImageError, LargeImageError, Texels
from plica.mesh.painting import KEPT_BYTES, Painting, Paintings, read_painting
from plica.texture.normal_maps import read_normal_map
from tests.support.bounded import MIB, in_bounds

KINDS = {1: (0, "L"), 3: (2, "RGB"), 4: (6, "RGBA")}


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(rows: NDArray[np.uint8] | NDArray[np.uint16], size: tuple[int, int], extra: bytes = b"") -> bytes:
    """A PNG (rows, columns, channels) of rows that repeat as often as is needed to `size` (rows, columns)."""
    bits, packed = 8 * rows.dtype.itemsize, zlib.compressobj(1)
    lines = [b"\0" + row.astype(row.dtype.newbyteorder(">")).tobytes() for row in rows]
    parts = [packed.compress(lines[number % len(lines)]) for number in range(size[0])]
    header = struct.pack(">IIBBBBB", size[1], size[0], bits, KINDS[rows.shape[2]][0], 0, 0, 0)
    data = b"".join([*parts, packed.flush()])
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + extra + chunk(b"IDAT", data) + chunk(b"IEND", b"")


@pytest.mark.parametrize(("channels", "size"), [(1, 8192), (3, 6144), (4, 6144)])
def test_a_mask_and_a_normal_map_of_film_size(
    channels: int, size: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """The decoded image, and for tiles and everything else less than another of them would take."""
    random = np.random.default_rng(channels)
    path = tmp_path_factory.mktemp("large") / "mask.png"
    texels = np.tile(random.integers(0, 256, (3, 512, channels), dtype=np.uint8), (1, size // 512, 1))
    path.write_bytes(png(texels, (size, size)))
    imports = (
        "from plica.mesh.painting import read_painting, sampled\n"
        "from plica.texture.normal_maps import read_normal_map\nfrom PIL import Image\nImage.preinit()"
    )
    body = f"""
uv = np.random.default_rng(1).random((100_000, 2)) * (1.0, 0.1)  # a tenth of its height: all of it takes long
found = sampled(read_painting(Path({str(path)!r}).read_bytes()), uv)
assert found.shape == (100_000,) and (found >= 0).all() and (found <= 1).all() and found.std() > 0.1
if {channels} > 1:
    image = read_normal_map(Path({str(path)!r}).read_bytes())
    assert image.size == ({size}, {size})
print("read")
"""
    texel = 1 if channels == 1 else 4
    assert in_bounds(imports, body, texel * size * size + 96 * MIB) == "read"


def test_bands_give_what_an_array_gives() -> None:
    random = np.random.default_rng(0)
    values = random.random((40, 30_000, 2))
    banded = Banded(values.shape, values.nbytes, lambda first, last: values[first:last])
    rows, columns = random.integers(0, 40, 500), random.integers(0, 30_000, 500)
    np.testing.assert_array_equal(banded[rows, columns], values[rows, columns])
    np.testing.assert_array_equal(banded[rows[:20]], values[rows[:20]])
    np.testing.assert_array_equal(banded[35:90], values[35:90])
    np.testing.assert_array_equal(np.asarray(banded), values)
    nothing = np.zeros(0, np.int64)
    assert banded[nothing, nothing].shape == (0, 2)


def test_paintings_are_kept_up_to_a_size() -> None:
    read: list[str] = []
    paintings = Paintings()

    def of(name: str) -> Painting:
        def data() -> bytes:
            read.append(name)
            return png(np.zeros((1, 4096, 3), np.uint8), (4096, 4096))

        return paintings.of(name, data)

    each = of("a").values.nbytes
    assert each == 4 * 4096**2
    fit = KEPT_BYTES // each
    names = [chr(ord("a") + number) for number in range(fit)]
    for name in (*names, *names):
        of(name)
    assert read == names
    of("z")
    of(names[-1])
    assert read == [*names, "z"]
    of(names[0])
    assert read == [*names, "z", names[0]]


def test_an_image_that_is_too_large_is_told_with_its_limit() -> None:
    data = png(np.zeros((1, 100, 1), np.uint8), (60, 100))
    with limits.using(limits.Limits()._replace(image_texels=5_999)), pytest.raises(LargeImageError) as error:
        read_painting(data)
    assert error.value.values["count"] == "100 x 60 texels"
    assert error.value.values["name"] == "image-texels"
    with limits.using(limits.Limits()._replace(image_texels=6_000)):
        read_painting(data)
    assert Image.MAX_IMAGE_PIXELS is not None  # Pillow's own limit is left to others


@pytest.mark.parametrize("size", [(16_384, 16_384), (1, 1 << 28), (1 << 28, 1)])
def test_a_small_file_that_says_it_is_large_takes_no_more_than_the_limit(size: tuple[int, int]) -> None:
    header = struct.pack(">IIBBBBB", size[0], size[1], 8, 2, 0, 0, 0)
    lying = (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 9)) + chunk(b"IEND", b"")
    )
    with pytest.raises(ImageError):
        read_painting(lying)


def saved(image: Image.Image, kind: str = "PNG", **options: object) -> bytes:
    content = io.BytesIO()
    image.save(content, kind, **options)
    return content.getvalue()


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_several_pictures_in_one_file_are_refused(kind: str) -> None:
    one, other = Image.new("RGB", (4, 4), (10, 0, 0)), Image.new("RGB", (4, 4), (0, 90, 0))
    with pytest.raises(ImageError, match="several pictures"):
        read_painting(saved(one, kind, save_all=True, append_images=[other]))


@pytest.mark.parametrize(
    ("mode", "kind", "words"),
    [
        ("CMYK", "JPEG", "inks"),
        ("CMYK", "TIFF", "inks"),
        ("LAB", "TIFF", r"L\*a\*b"),
        ("I", "TIFF", "neither 8 nor 16"),
    ],
)
def test_colours_that_are_no_light_are_refused(mode: str, kind: str, words: str) -> None:
    with pytest.raises(ImageError, match=words):
        read_painting(saved(Image.new(mode, (3, 2)), kind))


def tiff(values: NDArray[np.generic], *, photometric: int, order: str = "<", packed: bool = False) -> bytes:
    """A TIFF (TIFF 6.0) of one strip: grey (rows, columns), or red, green and blue."""
    rows, columns = values.shape[:2]
    channels = 1 if values.ndim == 2 else values.shape[2]
    content = values.astype(values.dtype.newbyteorder(order)).tobytes()  # type: ignore[call-overload]
    content = zlib.compress(content) if packed else content
    bits, form = 8 * values.dtype.itemsize, 3 if values.dtype.kind == "f" else 1
    start = 8 + 2 + 10 * 12 + 4
    shorts = struct.pack(f"{order}{2 * channels}H", *[bits] * channels, *[form] * channels)

    def several(tag: int, value: int, place: int) -> bytes:
        if channels == 1:
            return struct.pack(f"{order}HHIHH", tag, 3, 1, value, 0)
        return struct.pack(f"{order}HHII", tag, 3, channels, place)

    def one(tag: int, value: int) -> bytes:
        return struct.pack(f"{order}HHII", tag, 4, 1, value)

    entries = [
        one(256, columns),
        one(257, rows),
        several(258, bits, start),
        one(259, 8 if packed else 1),
        one(262, photometric),
        one(273, start + len(shorts)),
        one(277, channels),
        one(278, rows),
        one(279, len(content)),
        several(339, form, start + 2 * channels),
    ]
    head = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(f"{order}IH", 8, len(entries))
    return head + b"".join(entries) + b"\0\0\0\0" + shorts + content


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("packed", [False, True])
def test_sixteen_bits_of_colour_keep_all_of_them(order: str, packed: bool) -> None:
    values = np.random.default_rng(3).integers(0, 65536, (5, 7, 3), dtype=np.uint16)
    image = read_normal_map(tiff(values, photometric=2, order=order, packed=packed))
    assert image.bits == 16
    np.testing.assert_array_equal(np.asarray(image.stored), values)
    np.testing.assert_array_equal(Texels.of(png(values, (5, 7))).rows(0, 5)[..., :3], values)
    grey = np.repeat(values[..., :1], 3, axis=2)
    np.testing.assert_array_equal(np.asarray(read_painting(png(grey, (5, 7))).values), grey[..., 0] / 65535.0)


def test_where_0_means_white_is_not_taken_for_black() -> None:
    values = np.random.default_rng(4).integers(0, 65536, (5, 7), dtype=np.uint16)
    np.testing.assert_array_equal(np.asarray(read_painting(tiff(values, photometric=1)).values), values / 65535.0)
    for other in (values, (values / 65535.0).astype(np.float32)):
        with pytest.raises(ImageError, match="0 means white"):
            read_painting(tiff(other, photometric=0))
    eight = (values // 257).astype(np.uint8)
    np.testing.assert_array_equal(np.asarray(read_painting(tiff(eight, photometric=0)).values), (255 - eight) / 255.0)


def test_a_value_that_means_transparent_is_not_lost() -> None:
    values = np.full((2, 2, 1), 300, np.uint16)
    with pytest.raises(ImageError, match="transparent"):
        read_painting(png(values, (2, 2), chunk(b"tRNS", struct.pack(">H", 300))))
    eight = np.full((2, 2, 1), 30, np.uint8)
    assert not np.asarray(read_painting(png(eight, (2, 2), chunk(b"tRNS", struct.pack(">H", 30)))).values).any()
