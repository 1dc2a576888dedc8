"""Masks held against closed forms, other libraries' rasterisers, the PNG standard and real models."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

import numpy as np
import pytest
from PIL import Image, ImageDraw
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.mesh_reader import read_mesh
from plica.readers.model_reader import read_outline
from plica.texture.atlas import atlas_of
from plica.texture.png import in_bytes, png
from plica.texture.raster import UvReport, rasterised
from plica.texture.texture_diagnostics import tell_uvs
from plica.texture.texture_memory import bytes_in_memory, texels_with_levels
from tests.support.data import shared_data
from tests.support.masks import steepness

# ---- coverage


@pytest.mark.parametrize("seed", range(8))
def test_covered_texels_are_the_area_of_the_triangle(seed: int) -> None:
    """Closed form: half the cross product. The count of middles inside differs by at most the texels on the outline."""
    corners = np.random.default_rng(seed).random((3, 2))
    size = 512
    (ax, ay), (bx, by), (cx, cy) = corners
    area = abs((bx - ax) * (cy - ay) - (by - ay) * (cx - ax)) / 2.0
    outline = sum(np.linalg.norm(corners[i] - corners[i - 1]) for i in range(3))
    result = rasterised(corners, np.array([[0, 1, 2]]), size).report.covered / size**2
    assert abs(result - area) <= outline / size


def test_a_disc_of_triangles_has_the_area_of_its_polygon() -> None:
    """Closed form: n/2 r² sin(2 pi / n); over shared edges nothing is counted twice or left out."""
    count, size = 90, 1024
    turn = 2.0 * np.pi * np.arange(count) / count
    uv = np.vstack([[0.5, 0.5], 0.5 + 0.45 * np.stack([np.cos(turn), np.sin(turn)], axis=1)])
    ring = np.arange(count)
    triangles = np.stack([np.zeros(count, int), ring + 1, (ring + 1) % count + 1], axis=1)
    report = rasterised(uv, triangles, size).report
    assert report.overlapping == 0
    assert report.covered / size**2 == pytest.approx(count / 2 * 0.45**2 * np.sin(2 * np.pi / count), rel=1e-4)


def cut(seed: int) -> tuple[Floats, Delaunay]:
    uv = np.random.default_rng(seed).random((400, 2)) * 0.8 + 0.1
    return uv, Delaunay(uv)


@pytest.mark.parametrize("seed", range(3))
def test_values_are_those_of_linear_interpolation(seed: int) -> None:
    """scipy.interpolate.LinearNDInterpolator over the same Delaunay triangles."""
    uv, cutting = cut(seed)
    weights = np.random.default_rng(seed + 50).random(len(uv))
    size = 128
    sheet = atlas_of(uv, cutting.simplices.astype(np.int64), size)
    image = sheet.image(weights)
    middles = (np.arange(size) + 0.5) / size
    x, y = np.meshgrid(middles, middles)
    expected = LinearNDInterpolator(cutting, weights)(x, y)
    inside = np.isfinite(expected)
    # Only middles on the outline itself may be decided differently.
    assert (inside != sheet.covered).sum() <= 4
    both = inside & sheet.covered
    # Corners move by up to 1/8192 of a texel to the side and down. A point of the moved triangle has the weights of a
    # point of the right one that is at most as far away, so a value is off by at most 1/8192 of the steepness there
    # (of the neighbouring triangles too, as an edge may lie between), and by single precision.
    triangles = cutting.simplices.astype(np.int64)
    steep = steepness(uv, triangles, weights, size)
    owner = np.zeros((size, size), dtype=np.int64)
    owner.reshape(-1)[sheet.raster.texels] = sheet.raster.triangles
    bound = steep[triangles[owner]].max(axis=2) / 8192.0 + 1e-6
    assert (np.abs(image - expected) <= bound)[both].all()


@pytest.mark.parametrize("seed", range(5))
def test_coverage_agrees_with_pillow(seed: int) -> None:
    """Pillow's ImageDraw.polygon, drawn sixteen times as large, away from the edges that it draws thicker."""
    corners = np.random.default_rng(seed).random((3, 2))
    size, times = 64, 16
    large = Image.new("L", (size * times, size * times))
    ImageDraw.Draw(large).polygon([(x * size * times, y * size * times) for x, y in corners], fill=1)
    drawn = np.asarray(large)
    middle = drawn[times // 2 :: times, times // 2 :: times] == 1
    covered = rasterised(corners, np.array([[0, 1, 2]]), size).covered
    near = np.array([[_to_outline(corners, x, y) < 2.0 / times for x in range(size)] for y in range(size)])
    assert (covered == middle)[~near].all()
    assert near.mean() < 0.05
    assert covered.any()


def _to_outline(corners: Floats, column: int, row: int) -> float:
    """Texels from a texel's middle to the triangle's outline."""
    point, places = np.array([column + 0.5, row + 0.5]), corners * 64
    result = []
    for number in range(3):
        start, way = places[number], places[(number + 1) % 3] - places[number]
        share = np.clip((point - start) @ way / (way @ way), 0.0, 1.0)
        result.append(float(np.linalg.norm(point - start - share * way)))
    return min(result)


# ---- files


def chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """The chunks of a PNG file, read byte by byte (PNG third edition, 5.2 and 5.3)."""
    assert data[:8] == bytes([137, 80, 78, 71, 13, 10, 26, 10])
    place = 8
    while place < len(data):
        (length,) = struct.unpack(">I", data[place : place + 4])
        kind, content = data[place + 4 : place + 8], data[place + 8 : place + 8 + length]
        (check,) = struct.unpack(">I", data[place + 8 + length : place + 12 + length])
        assert check == zlib.crc32(kind + content)
        yield kind, content
        place += 12 + length


@pytest.mark.parametrize(("count", "colour_type"), [(1, 0), (3, 2), (4, 6)])
def test_files_are_plain_png(count: int, colour_type: int) -> None:
    """W3C PNG third edition: 11.2.1 (IHDR), table of colour types; no ancillary chunk such as gAMA or sRGB at all."""
    random = np.random.default_rng(count)
    planes = [random.integers(0, 256, (8, 8), dtype=np.uint8) for _ in range(count)]
    result = list(chunks(png(planes, count)))
    kinds = [kind for kind, _ in result]
    assert kinds[0] == b"IHDR" and kinds[-1] == b"IEND" and set(kinds[1:-1]) == {b"IDAT"}
    assert struct.unpack(">IIBBBBB", result[0][1]) == (8, 8, 8, colour_type, 0, 0, 0)
    raw = zlib.decompress(b"".join(content for kind, content in result if kind == b"IDAT"))
    assert (_unfiltered(raw, 8, count) == np.stack(planes, axis=-1)).all()


def _unfiltered(raw: bytes, size: int, count: int) -> Integers:
    """Rows with their filters undone (PNG third edition, 9.2 to 9.4)."""
    rows = np.frombuffer(raw, np.uint8).reshape(size, 1 + size * count)
    done = np.zeros((size + 1, (size + 1) * count), np.int64)
    for number, row in enumerate(rows):
        for place in range(size * count):
            a, b, c = done[number + 1, place], done[number, place + count], done[number, place]
            guess = int(a + b - c)
            nearest = min((abs(guess - int(one)), order, int(one)) for order, one in enumerate((a, b, c)))[2]
            add = (0, int(a), int(b), (int(a) + int(b)) // 2, nearest)[row[0]]
            done[number + 1, place + count] = (int(row[1 + place]) + add) % 256
    return done[1:, count:].reshape(size, size, count)


def test_rounding_is_that_of_the_standard() -> None:
    """PNG third edition: floor(in * MAXOUT / MAXIN + 0.5); from 16 to 8 bits 32768 becomes 128."""
    deep = np.arange(65536)
    expected = np.floor(deep * 255 / 65535 + 0.5)
    assert expected[32768] == 128
    assert (in_bytes((deep / 65535).astype(np.float32)) == expected).all()


# ---- memory


def test_memory_with_mip_levels() -> None:
    """The figure for 1024 is that of the formula for a geometric series; each level has a quarter of the texels."""
    assert texels_with_levels(1024) == 1_398_101
    for power in range(2, 14):
        assert texels_with_levels(2**power) == sum(4**level for level in range(power + 1))
    assert bytes_in_memory(1024, 4) == 4 * 1_398_101


# ---- real models


def model(*parts: str) -> Mesh:
    path = shared_data("characters", *parts)
    return read_mesh(path, [joint.name for joint in read_outline(path).skeleton.joints])


def told(uv: Floats, triangles: Integers) -> tuple[set[str], UvReport]:
    """What is said about a layout, and its counts."""
    report = rasterised(uv, triangles, 512).report
    diagnostics = Diagnostics()
    tell_uvs("skin", report, diagnostics, None)
    return {each.name for each in diagnostics.all}, report


def of_part(mesh: Mesh, name: str) -> Integers:
    """The triangles of one mesh of a file."""
    part = next(part for part in mesh.parts if part.mesh == name)
    first = mesh.triangles[:, 0]
    return mesh.triangles[(first >= part.start) & (first < part.start + part.count)]


def test_a_body_with_places_of_its_own_for_all_skin() -> None:
    """full_body of the shared data: the body's skin is laid out uniquely; eyes and brows lie over it."""
    mesh = model("full_body", "full_body.gltf")
    names, report = told(mesh.uvs["TEXCOORD_0"], of_part(mesh, "Sphere.005_Retopology.004"))
    assert names == set()
    assert report.overlapping == 0
    assert report.covered > 0.5 * 512**2
    names, report = told(mesh.uvs["TEXCOORD_0"], mesh.triangles)
    assert names == {"uvs-overlap", "uvs-outside"}
    assert report.outside == 156


def test_a_mannequin_whose_layout_overlaps() -> None:
    """mannequin of the shared data: arms and legs lie over each other on one small palette."""
    mesh = model("mannequin", "mannequin.gltf")
    names, report = told(mesh.uvs["TEXCOORD_0"], mesh.triangles)
    assert "uvs-overlap" in names
    assert report.overlapping > 0.1 * report.covered
    arm = told(mesh.uvs["TEXCOORD_0"], of_part(mesh, "Mannequin_Medium_ArmLeft"))[1]
    assert arm.overlapping == arm.covered


def test_a_face_that_lies_on_several_textures_side_by_side() -> None:
    """The face of the shared data: half of its triangles lie outside 0..1, each of them wholly."""
    with np.load(shared_data("face", "face_shapes.npz"), allow_pickle=False) as file:
        uv, triangles = file["uv"].astype(np.float64), file["tri_vt"].astype(np.int64)
    names, report = told(uv, triangles)
    assert names == {"uvs-overlap", "uvs-outside"}
    whole = np.floor(uv[triangles]).any(axis=(1, 2))
    assert report.outside == whole.sum()
