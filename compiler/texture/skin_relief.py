"""A detail's blended normals on posed skin, for pictures: folds as far on as their strengths are.

A fold covers its area as the mesh holds it, by vertex; masks, which also hold what is finer than the mesh, take longer
to make than a picture does. Tangents go along the directions in which u and v rise in each triangle (glTF 2.0, section
3.9.3, leaves them to the reader where a mesh has none).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.picture.directions import unit
from plica.rig.surfaces import Detail
from plica.texture.detail_maps import mixed
from plica.texture.normal_maps import NormalMap, decoded, sampled


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

    def posed(self, positions: Floats, strengths: Mapping[str, float]) -> SkinRelief:
        """On the mesh at positions (v, 3), with folds as far on as strengths say by fold."""
        factors = np.zeros(len(positions))
        for fold, area in self.areas.items():
            factors += area * strengths.get(fold, 0.0)
        return SkinRelief(self, positions, np.clip(factors, 0.0, 1.0))


@dataclass(frozen=True, eq=False)
class SkinRelief:
    """A detail on posed skin: positions (v, 3), and how far it is contracted (v,), 0 to 1."""

    skin: DetailSkin
    positions: Floats
    factors: Floats

    def normals(self, triangles: Integers, shares: Floats, normals: Floats) -> Floats:
        """The blended unit normals (p, 3) at places of triangles (p,), given by their corners' shares (p, 3) and the
        skin's own unit normals (p, 3), which stay where the skin has no texture coordinates.
        """
        corners = self.skin.mesh.triangles[triangles]
        uv = np.einsum("pk,pkc->pc", shares, self.skin.uv[corners])
        known = np.flatnonzero(np.isfinite(uv).all(axis=1))
        corners, uv, base = corners[known], uv[known], normals[known]
        factor = np.einsum("pk,pk->p", shares[known], self.factors[corners])
        relaxed, contracted = (
            decoded(sampled(image.stored, uv) / image.largest) for image in (self.skin.relaxed, self.skin.contracted)
        )
        flat = mixed(relaxed, contracted, factor, self.skin.detail.mixing)
        along, up = self._tangents(corners, base)
        result = normals.copy()
        result[known] = unit(flat[:, :1] * along + flat[:, 1:2] * up + flat[:, 2:] * base)
        return result

    def _tangents(self, corners: Integers, normals: Floats) -> tuple[Floats, Floats]:
        """The directions (p, 3) in which u rises and v falls, square to the normals; null where a triangle has none."""
        places, uv = self.positions[corners], self.skin.uv[corners]
        one, other = places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]
        (u, v), (s, t) = (uv[:, 1] - uv[:, 0]).T, (uv[:, 2] - uv[:, 0]).T
        turned = np.sign(u * t - v * s)[:, None]
        along = (one * t[:, None] - other * v[:, None]) * turned
        along = unit(along - normals * np.einsum("pc,pc->p", along, normals)[:, None])
        # Texture coordinates go down in glTF, and the green of a map goes up.
        return along, np.cross(normals, along) * -turned


@dataclass(frozen=True, eq=False)
class Reliefs:
    """Several details, one over the other."""

    parts: tuple[SkinRelief, ...]

    def normals(self, triangles: Integers, shares: Floats, normals: Floats) -> Floats:
        """As `SkinRelief.normals`, each over what those before it give."""
        for part in self.parts:
            normals = part.normals(triangles, shares, normals)
        return normals
