"""Wren's textures: painted masks and two normal maps of the same fur, relaxed and contracted.

Everything is made from the geometry: texels learn their place on the skin by rasterising the mesh in its
texture layout. Row 0 is v = 0, the top, as in glTF; tangent-space normals have green up, as glTF's normal
textures do.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from plica.picture.directions import Floats, Integers, smooth_step
from plica.specs.wren import otter
from plica.specs.wren.model import DemoModel

MASK_SIZE: Final = 512
MAP_SIZE: Final = 1024
DILATION: Final = 6
"""Texels by which every island is widened into its gutter."""
_SEED: Final = 20260


@dataclass(frozen=True)
class TextureRaster:
    """Which triangle covers each texel, -1 for none (size, size), and the barycentric weights there (size,
    size, 3).
    """

    triangle: Integers
    weights: Floats

    @property
    def covered(self) -> NDArray[np.bool_]:
        """Texels whose middle lies on the skin."""
        return np.asarray(self.triangle >= 0)

    def spread(self, values: Floats, triangles: Integers) -> Floats:
        """Vertex values (n, k) interpolated over the texels, (size, size, k), 0 where nothing is."""
        corners = values[triangles[np.maximum(self.triangle, 0)]]
        result: Floats = np.einsum("ijc,ijck->ijk", self.weights, corners)
        return result


def rasterised(coordinates: Floats, triangles: Integers, size: int) -> TextureRaster:
    """Covers a square texture with triangles by their texture coordinates (n, 2), sampling at texel middles.

    All texels of all triangles' bounding boxes are tested together against the barycentric weights of the
    triangle.
    """
    corners = coordinates[triangles] * size - 0.5
    low = np.clip(np.ceil(corners.min(axis=1)), 0, size - 1).astype(np.int64)
    high = np.clip(np.floor(corners.max(axis=1)), 0, size - 1).astype(np.int64)
    extent = np.maximum(high - low + 1, 0)
    counts = extent[:, 0] * extent[:, 1]
    owner = np.repeat(np.arange(len(triangles)), counts)
    within = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    column = low[owner, 0] + within % extent[owner, 0]
    row = low[owner, 1] + within // extent[owner, 0]
    a, b, c = corners[owner, 0], corners[owner, 1], corners[owner, 2]
    first, second = b - a, c - a
    point = np.stack([column, row], axis=1) - a
    area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    v = (point[:, 0] * second[:, 1] - point[:, 1] * second[:, 0]) / area
    w = (first[:, 0] * point[:, 1] - first[:, 1] * point[:, 0]) / area
    inside = (v >= 0.0) & (w >= 0.0) & (v + w <= 1.0)
    triangle = np.full((size, size), -1, dtype=np.int64)
    weights = np.zeros((size, size, 3))
    rows, columns = row[inside], column[inside]
    triangle[rows, columns] = owner[inside]
    weights[rows, columns] = np.stack([1.0 - v - w, v, w], axis=1)[inside]
    return TextureRaster(triangle, weights)


def _shifted(values: Floats, rows: int, columns: int) -> Floats:
    return np.roll(values, (rows, columns), axis=(0, 1))


def dilated(values: Floats, covered: NDArray[np.bool_]) -> Floats:
    """Values (size, size) continued from the islands into their gutters by the mean of covered neighbours."""
    ways = ((1, 0), (-1, 0), (0, 1), (0, -1))
    known = covered.astype(np.float64)
    result = np.where(covered, values, 0.0)
    for _ in range(DILATION):
        count = sum((_shifted(known, *way) for way in ways), np.zeros_like(known))
        total = sum((_shifted(result * known, *way) for way in ways), np.zeros_like(known))
        fresh = (known == 0.0) & (count > 0.0)
        result = np.where(fresh, total / np.maximum(count, 1.0), result)
        known = np.where(fresh, 1.0, known)
    return result


@dataclass(frozen=True)
class _Skin:
    """What each texel knows: its place at rest with x folded to the left (size, size, 3), and its share of
    arm.
    """

    raster: TextureRaster
    place: Floats
    arm: Floats


def _skin(model: DemoModel, size: int) -> _Skin:
    raster = rasterised(model.texture_coordinates, model.triangles, size)
    numbers = [
        number
        for name, number in model.skeleton.number.items()
        if name.startswith(("upperarm", "lowerarm", "paw", "index", "middle", "ring", "little"))
    ]
    arm = np.where(np.isin(model.joints, numbers), model.weights, 0.0).sum(axis=1)
    spread = raster.spread(np.column_stack([model.positions, arm]), model.triangles)
    spread[..., 0] = np.abs(spread[..., 0])
    return _Skin(raster, spread[..., :3], spread[..., 3])


def _oval(place: Floats, center: otter.Point, size: otter.Point, edge: float) -> Floats:
    """1 inside an ellipsoid about `center` with half axes `size`, falling to 0 over the share `edge` of its
    radius.
    """
    radius = np.linalg.norm((place - np.asarray(center)) / np.asarray(size), axis=-1)
    return smooth_step((1.0 - radius) / edge)


def _along_forearm(place: Floats) -> Floats:
    elbow, wrist = (np.asarray(otter.ARM_STATIONS[k]) for k in (1, 2))
    line = wrist - elbow
    share: Floats = (place - elbow) @ line / np.dot(line, line)
    return share


def _areas(skin: _Skin) -> dict[str, Floats]:
    """The three painted areas, each (size, size) from 0 to 1."""
    share = _along_forearm(skin.place)
    forearm = (
        smooth_step((share - 0.02) / 0.22) * smooth_step((1.02 - share) / 0.20) * smooth_step(2.0 * skin.arm - 0.6)
    )
    areas = {
        "brow": _oval(skin.place, otter.BROW_AREA, otter.BROW_AREA_SIZE, 0.55),
        "muzzle": _oval(skin.place, otter.MUZZLE_AREA, otter.MUZZLE_AREA_SIZE, 0.5),
        "forearm": forearm,
    }
    return {name: np.where(skin.raster.covered, area, 0.0) for name, area in areas.items()}


def _crest(phase: Floats) -> Floats:
    """Rounded ridges with sharp valleys, from 0 to 1, one for each unit of phase."""
    return np.sqrt(np.sin(np.pi * phase) ** 2 + 0.02)


def _folds(skin: _Skin, areas: dict[str, Floats]) -> Floats:
    """The height of the contracted skin's wrinkles in metres, (size, size)."""
    place = skin.place
    x, y, z = place[..., 0], place[..., 1], place[..., 2]
    wobble = 0.18 * np.sin(95.0 * x) + 0.12 * np.sin(61.0 * z + 2.0)
    brow = _crest((y - 0.55 * z) / 0.0105 + wobble)
    pad = np.asarray(otter.WHISKER_PAD)
    from_pad = np.linalg.norm(place - pad - np.array([0.0, -0.020, 0.020]), axis=-1)
    muzzle = _crest(from_pad / 0.0095 + 0.6 * wobble)
    share = _along_forearm(place)
    around = np.arctan2(z - 0.0, x - 0.216)
    forearm = _crest(share * 8.0 + 0.35 * np.sin(2.0 * around) + wobble)
    return 0.0011 * brow * areas["brow"] + 0.0010 * muzzle * areas["muzzle"] + 0.0009 * forearm * areas["forearm"]


def _blurred(values: Floats, length: int, axis: int) -> Floats:
    """A running mean over an odd `length` of texels, taken twice."""
    for _ in range(2):
        shifts = range(-(length // 2), length // 2 + 1)
        values = sum((np.roll(values, shift, axis) for shift in shifts), np.zeros_like(values)) / length
    return values


def _strands(size: int, axis: int, seed: int) -> Floats:
    """Noise drawn out along an axis like strands of fur, with standard deviation 1; (size, size)."""
    noise = np.random.Generator(np.random.PCG64(seed)).random((size, size)) - 0.5
    fine = _blurred(noise, 7, axis)
    broad = _blurred(_blurred(np.roll(noise, 37, 1 - axis), 15, axis), 3, 1 - axis)
    strands: Floats = fine / fine.std() + 0.8 * broad / broad.std()
    strands /= strands.std()
    return strands


def _fur(model: DemoModel, skin: _Skin) -> Floats:
    """The height of the fur in metres: strands follow the limbs, also where an island lies on its side."""
    size = skin.place.shape[0]
    turned = model.turned[np.maximum(skin.raster.triangle, 0)] & skin.raster.covered
    return 0.00012 * np.where(turned, _strands(size, 1, _SEED), _strands(size, 0, _SEED + 1))


def _normals(height: Floats, texels: Floats, covered: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """The RGB bytes of unit normals of a height field in metres; `texels` per metre, all (size, size)."""
    down, right = np.gradient(dilated(height, covered))
    # Slopes go on into the gutters, where filters and smaller mip levels reach.
    slopes = (dilated(-right * texels, covered), dilated(down * texels, covered))
    normals = np.stack([*slopes, np.ones_like(height)], axis=-1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    return np.rint(normals * 127.5 + 127.5).astype(np.uint8)


def png(pixels: NDArray[np.uint8]) -> bytes:
    """A PNG file of grey or RGB levels, (size, size) or (size, size, 3)."""
    content = io.BytesIO()
    Image.fromarray(pixels).save(content, "PNG", compress_level=7)
    return content.getvalue()


def masks(model: DemoModel) -> dict[str, bytes]:
    """The painted areas of both sides as greyscale PNG files."""
    skin = _skin(model, MASK_SIZE)
    return {
        f"masks/{name}.png": png(np.rint(dilated(area, skin.raster.covered) * 255.0).astype(np.uint8))
        for name, area in _areas(skin).items()
    }


def maps(model: DemoModel) -> dict[str, bytes]:
    """The relaxed and the contracted normal map as RGB PNG files."""
    skin = _skin(model, MAP_SIZE)
    covered = skin.raster.covered
    texels = MAP_SIZE * model.texture_scale[np.maximum(skin.raster.triangle, 0)]
    fur, folds = _fur(model, skin), _folds(skin, _areas(skin))
    return {
        "maps/relaxed.png": png(_normals(fur, texels, covered)),
        "maps/contracted.png": png(_normals(fur + folds, texels, covered)),
    }
