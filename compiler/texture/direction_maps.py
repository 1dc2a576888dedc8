"""Maps of the direction in which skin changes most, for folds whose area is found from deformation.

A direction has no sign, so its double angle is stored, which mixes rightly between texels and has no jump: with a the
angle in the texture's tangent space, counted from the direction of rising u towards the top of the picture (falling v),
red is (cos 2a + 1) / 2 and green (sin 2a + 1) / 2. Where nothing is known both are one half.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.attach import Attached
from plica.rig.rig import Rig
from plica.texture.atlas import atlas_of
from plica.texture.mask_set import DirectionMap, Mask
from plica.texture.png import in_bytes, png, with_build
from plica.texture.texture_memory import stored_channels

LARGEST: Final = 256
"""Texels across at most: directions change slowly, however sharp the mask is."""
_LEAST: Final = 0.05  # double angles that cancel each other to less than this are none


def direction_maps(rig: Rig, attached: Attached, masks: Mapping[str, Mask], stem: str) -> tuple[DirectionMap, ...]:
    """A map for each fold whose area has directions, in the order of the rig; as large as its mask has to be.

    masks: of the folds, by name.
    """
    return tuple(_maps(rig, attached, masks, stem))


def _maps(rig: Rig, attached: Attached, masks: Mapping[str, Mask], stem: str) -> Iterator[DirectionMap]:
    mesh = attached.mesh if attached.neutral is None else attached.neutral.mesh
    numbered = (fold for fold in rig.folds if fold.name in masks and fold.area in attached.directions)
    for number, fold in enumerate(numbered, 1):
        mask = masks[fold.name]
        size = min(mask.size, LARGEST)
        angles = double_angles(mesh, mesh.uvs[mask.uv], attached.directions[fold.area])
        values = _texels(mesh, mesh.uvs[mask.uv], angles, size)
        planes = [in_bytes(((plane + 1.0) / 2.0).astype(np.float32)) for plane in values]
        content = with_build(png(planes, stored_channels(2)), rig.build)
        yield DirectionMap(fold.name, f"{stem}.directions.{number}.png", mask.uv, size, content)


def double_angles(mesh: Mesh, uv: Floats, directions: Floats) -> Floats:
    """The cosine and sine (v, 2) of twice each direction's angle in the texture; 0 where there is none.

    uv (v, 2), v down; directions (v, 3) in model space, of any length and sign.
    """
    right, up = _tangents(mesh.positions, mesh.triangles, uv)
    x, y = (np.einsum("vc,vc->v", directions, axis) for axis in (right, up))
    square = x * x + y * y
    pair = np.stack([x * x - y * y, 2.0 * x * y], axis=1)
    return np.asarray(np.divide(pair, square[:, None], out=np.zeros_like(pair), where=square[:, None] > 0.0))


def _tangents(positions: Floats, triangles: Integers, uv: Floats) -> tuple[Floats, Floats]:
    """Unit vectors (v, 3) on the skin: where u rises, and at right angles to it toward the top of the picture."""
    places, corners = positions[triangles], uv[triangles]
    one, other = places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]
    (u1, v1), (u2, v2) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    turned = np.sign(u1 * v2 - u2 * v1)[:, None]
    # Divided by nothing: times the area in the texture, which weighs the triangles.
    right = turned * (one * v2[:, None] - other * v1[:, None])
    down = turned * (other * u1[:, None] - one * u2[:, None])
    known = np.isfinite(right).all(axis=1) & np.isfinite(down).all(axis=1)
    sums = [np.zeros_like(positions), np.zeros_like(positions)]
    for total, values in zip(sums, (right, down), strict=True):
        for corner in range(3):
            np.add.at(total, triangles[known, corner], values[known])
    across = _unit(sums[0])
    away = -sums[1]
    return across, _unit(away - np.einsum("vc,vc->v", away, across)[:, None] * across)


def _unit(vectors: Floats) -> Floats:
    lengths = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(np.divide(vectors, lengths, out=np.zeros_like(vectors), where=lengths > 0.0))


def _texels(mesh: Mesh, uv: Floats, angles: Floats, size: int) -> Floats:
    """The cosine and sine in every texel, (2, size, size), at length 1 or 0."""
    sheet = atlas_of(uv, mesh.triangles, size)
    if sheet.patches is None:
        return np.zeros((2, size, size))
    mixed = sheet.mixed(angles).T.reshape(2, size, size)
    lengths = np.sqrt((mixed * mixed).sum(axis=0))
    return np.asarray(np.divide(mixed, lengths, out=np.zeros_like(mixed), where=lengths > _LEAST))
