"""A detail's blended normals on posed skin, for pictures: folds as far on as their strengths are.

A fold covers its area as the mesh holds it, by vertex; masks, which also hold what is finer than the mesh, take longer
to make than a picture does. Tangents go along the directions in which u and v rise in each triangle (glTF 2.0, section
3.9.3, leaves them to the reader where a mesh has none).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.picture.directions import Singles, unit, unit_rows
from plica.picture.raster import spread
from plica.rig.surfaces import Detail
from plica.texture.detail_maps import mixed
from plica.texture.normal_maps import NormalMap

MOST: Final = 2048
"""Texels of a map each way: a picture shows no more of it."""


@dataclass(frozen=True, eq=False)
class DetailSkin:
    """A detail over a mesh: its two maps, and by fold the weights (v,) of its area."""

    detail: Detail
    relaxed: NormalMap
    contracted: NormalMap
    areas: Mapping[str, Floats]
    mesh: Mesh

    @property
    def uv(self) -> Floats:
        """The texture coordinates (v, 2) that the maps lie over."""
        return self.mesh.uvs[self.detail.uv if self.detail.uv is not None else next(iter(self.mesh.uvs))]

    @cached_property
    def maps(self) -> tuple[_Map, _Map]:
        """Both maps, of at most `MOST` texels each way."""
        return _small(self.relaxed), _small(self.contracted)

    def posed(self, positions: Floats, strengths: Mapping[str, float]) -> SkinRelief:
        """On the mesh at positions (v, 3), with folds as far on as strengths say by fold."""
        factors = np.zeros(len(positions))
        for fold, area in self.areas.items():
            factors += area * strengths.get(fold, 0.0)
        triangles = self.mesh.triangles
        places, uv = positions[triangles], self.uv[triangles]
        one, other = places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]
        (u, v), (s, t) = (uv[:, 1] - uv[:, 0]).T, (uv[:, 2] - uv[:, 0]).T
        turned = np.sign(u * t - v * s)
        along = unit((one * t[:, None] - other * v[:, None]) * turned[:, None])
        return SkinRelief(self, np.clip(factors, 0.0, 1.0), along, turned)


class _Map(NamedTuple):
    """Stored values (rows, columns, 3), and which of them means 1."""

    stored: NDArray[np.uint8] | NDArray[np.uint16] | Singles
    largest: float

    def at(self, uv: Singles) -> Singles:
        """Vectors (n, 3) at texture coordinates (n, 2), as `plica.texture.normal_maps.sampled` takes them."""
        rows, columns = self.stored.shape[:2]
        texels = self.stored.reshape(-1, 3)
        places = uv * np.array((columns, rows), dtype=np.float32) - np.float32(0.5)
        first = np.floor(places)
        across, down = (places - first).T[:, :, None]
        left, upper = first.astype(np.int64).T
        left, upper = left % columns, upper % rows
        right, lower = (left + 1) % columns, (upper + 1) % rows * columns
        upper = upper * columns

        def value(texel: Integers) -> Singles:
            return np.take(texels, texel, axis=0).astype(np.float32, copy=False)

        above, below = (value(row + left) * (1 - across) + value(row + right) * across for row in (upper, lower))
        mean = above + (below - above) * down
        return np.asarray(mean * np.float32(2.0 / self.largest) - np.float32(1.0))


def _small(image: NormalMap) -> _Map:
    """A map; of a larger one the means of as many texels as come together in one."""
    step = -(-max(image.size) // MOST)
    if step == 1:
        return _Map(np.asarray(image.stored), image.largest)
    rows = []
    for first in range(0, image.size[1] - step + 1, step):
        band = np.asarray(image.stored[first : first + step], dtype=np.float32)[:, : image.size[0] // step * step]
        rows.append(band.reshape(step, -1, step, 3).mean(axis=(0, 2)))
    return _Map(np.stack(rows), image.largest)


@dataclass(frozen=True, eq=False)
class SkinRelief:
    """A detail on posed skin: how far it is contracted (v,), 0 to 1; for each triangle the direction (t, 3) in which u
    rises, null where it has none, and whether its layout is mirrored (t,): 1, else -1.
    """

    skin: DetailSkin
    factors: Floats
    along: Floats
    turned: Floats

    def normals(self, triangles: Integers, shares: Singles, normals: Singles) -> Singles:
        """The blended unit normals (p, 3) at places of triangles (p,), given by their corners' shares (p, 3) and the
        skin's own unit normals (p, 3), which stay where the skin has no texture coordinates.
        """
        corners = self.skin.mesh.triangles[triangles]
        uv = spread(shares, self.skin.uv.astype(np.float32), corners)
        known = np.isfinite(uv).all(axis=1)
        if not known.all():
            result = normals.copy()
            result[known] = self.normals(triangles[known], shares[known], normals[known])
            return result
        flat = self._blended(uv, spread(shares, self.factors.astype(np.float32)[:, None], corners)[:, 0])
        along = self.along.astype(np.float32)[triangles]
        along = unit_rows(along - normals * np.einsum("pc,pc->p", along, normals)[:, None])
        # Texture coordinates go down in glTF, and the green of a map goes up.
        sign = -self.turned.astype(np.float32)[triangles]
        up = np.stack([_cross(normals, along, axis) for axis in range(3)], axis=1) * sign[:, None]
        return unit_rows(flat[:, :1] * along + flat[:, 1:2] * up + flat[:, 2:] * normals)

    def _blended(self, uv: Singles, factor: Singles) -> Singles:
        """Unit vectors of the mixed maps (p, 3) at texture coordinates (p, 2), as contracted as factors (p,) say."""
        relaxed, contracted = self.skin.maps
        flat = relaxed.at(uv)
        on = np.flatnonzero(factor > 0.0)
        blended = mixed(
            flat[on].astype(np.float64),
            contracted.at(uv[on]).astype(np.float64),
            factor[on].astype(np.float64),
            self.skin.detail.mixing,
        )
        result = unit_rows(flat)
        result[on] = blended
        return result


def _cross(one: Singles, other: Singles, axis: int) -> Singles:
    """One part (n,) of the cross products of vectors (n, 3)."""
    second, third = (axis + 1) % 3, (axis + 2) % 3
    return one[:, second] * other[:, third] - one[:, third] * other[:, second]


@dataclass(frozen=True, eq=False)
class Reliefs:
    """Several details, one over the other."""

    parts: tuple[SkinRelief, ...]

    def normals(self, triangles: Integers, shares: Singles, normals: Singles) -> Singles:
        """As `SkinRelief.normals`, each over what those before it give."""
        for part in self.parts:
            normals = part.normals(triangles, shares, normals)
        return normals
