"""A detail's blended normals on posed skin, for pictures: folds as far on as their strengths are.

A fold covers its area as the mesh holds it, by vertex; masks, which also hold what is finer than the mesh, take longer
to make than a picture does. Tangents go along the directions in which u and v rise in each triangle (glTF 2.0, section
3.9.3, leaves them to the reader where a mesh has none).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.picture.directions import unit
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
    def maps(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Both maps' vectors (rows, columns, 3), of at most `MOST` texels each way."""
        return _vectors(self.relaxed), _vectors(self.contracted)

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


def _vectors(image: NormalMap) -> NDArray[np.float32]:
    """The vectors of a map, of larger ones the means of as many texels as come together in one."""
    step = -(-max(image.size) // MOST)
    rows = []
    for first in range(0, image.size[1] - step + 1, step):
        band = np.asarray(image.stored[first : first + step], dtype=np.float32)[:, : image.size[0] // step * step]
        rows.append(band.reshape(step, -1, step, 3).mean(axis=(0, 2)))
    return np.stack(rows) * np.float32(2.0 / image.largest) - np.float32(1.0)


@dataclass(frozen=True, eq=False)
class SkinRelief:
    """A detail on posed skin: how far it is contracted (v,), 0 to 1; for each triangle the direction (t, 3) in which u
    rises, null where it has none, and whether its layout is mirrored (t,): 1, else -1.
    """

    skin: DetailSkin
    factors: Floats
    along: Floats
    turned: Floats

    def normals(self, triangles: Integers, shares: Floats, normals: Floats) -> Floats:
        """The blended unit normals (p, 3) at places of triangles (p,), given by their corners' shares (p, 3) and the
        skin's own unit normals (p, 3), which stay where the skin has no texture coordinates.
        """
        corners = self.skin.mesh.triangles[triangles]
        uv = np.einsum("pk,pkc->pc", shares, self.skin.uv[corners])
        known = np.isfinite(uv).all(axis=1)
        if not known.all():
            result = normals.copy()
            result[known] = self.normals(triangles[known], shares[known], normals[known])
            return result
        factor = np.einsum("pk,pk->p", shares, self.factors[corners])
        relaxed, contracted = self.skin.maps
        flat = unit(_sampled(relaxed, uv))
        on = np.flatnonzero(factor > 0.0)
        flat[on] = mixed(_sampled(relaxed, uv[on]), _sampled(contracted, uv[on]), factor[on], self.skin.detail.mixing)
        along = self.along[triangles]
        along = unit(along - normals * np.einsum("pc,pc->p", along, normals)[:, None])
        # Texture coordinates go down in glTF, and the green of a map goes up.
        up = np.cross(normals, along) * -self.turned[triangles][:, None]
        return unit(flat[:, :1] * along + flat[:, 1:2] * up + flat[:, 2:] * normals)


def _sampled(vectors: NDArray[np.float32], uv: Floats) -> Floats:
    """Vectors (n, 3) at texture coordinates (n, 2), as `plica.texture.normal_maps.sampled` takes them."""
    rows, columns = vectors.shape[:2]
    texels = vectors.reshape(-1, 3)
    places = uv * (columns, rows) - 0.5
    first = np.floor(places)
    across, down = (places - first).astype(np.float32).T[:, :, None]
    left, upper = first.astype(np.int64).T
    left, upper = left % columns, upper % rows
    right, lower = (left + 1) % columns, (upper + 1) % rows * columns
    upper = upper * columns
    above = texels[upper + left] * (1 - across) + texels[upper + right] * across
    below = texels[lower + left] * (1 - across) + texels[lower + right] * across
    return np.asarray(above * (1 - down) + below * down, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Reliefs:
    """Several details, one over the other."""

    parts: tuple[SkinRelief, ...]

    def normals(self, triangles: Integers, shares: Floats, normals: Floats) -> Floats:
        """As `SkinRelief.normals`, each over what those before it give."""
        for part in self.parts:
            normals = part.normals(triangles, shares, normals)
        return normals
