"""Detail maps blended by folds: the reference that shaders are held against.

A texel's factor is the sum of its folds' masks, each times its fold's strength, clamped to 0..1.

*Plain* mixing mixes the two decoded vectors linearly and scales the result to unit length: factor 0 gives
the relaxed map's direction, factor 1 the contracted map's.

*Reoriented* mixing (Barre-Brisebois and Hill, "Blending in Detail", 2012) takes the contracted map for what
contracting adds to the skin. It is faded in from flat, mix(flat, contracted, factor), and laid over the relaxed
normal, turned as the relaxed normal is turned from flat. With n1 the relaxed normal at unit length, n2 the faded
contracted one, t = n1 + (0, 0, 1) and u = n2 (-1, -1, 1), the paper's result t (t . u) / t.z - u has the direction of
t (t . u) - u t.z, as t.z is never negative; the latter needs no division and is then scaled to unit length. Factor 0
gives the relaxed map's direction, factor 1 all of the contracted map on top of it, and where the relaxed
map is flat the contracted one's direction.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType
from typing import Final, Literal, Protocol

import numpy as np

from plica.mesh.arrays import Floats
from plica.mesh.images import TEXELS_AT_ONCE
from plica.texture.normal_maps import FLAT, NormalMap, Stored, decoded, encoded, sampled, sampled_on_grid, unit
from plica.texture.png import png_in_colour

Mixing = Literal["plain", "reoriented"]

_FLIP: Final = np.array((-1.0, -1.0, 1.0))


def fold_factor(masks: Iterable[Floats], strengths: Iterable[float], shape: tuple[int, ...]) -> Floats:
    """Factors of this shape: clamp(sum of masks (each of that shape) times strengths, 0, 1)."""
    total = np.zeros(shape)
    for mask, strength in zip(masks, strengths, strict=True):
        total += mask * strength
    return np.clip(total, 0.0, 1.0)


def mixed(relaxed: Floats, contracted: Floats, factor: Floats, mixing: Mixing) -> Floats:
    """Unit normals (..., 3) of two decoded vectors (..., 3) and a factor (...) from 0 to 1."""
    share = factor[..., None]
    if mixing == "plain":
        return unit(relaxed * (1.0 - share) + contracted * share)
    return reoriented(unit(relaxed), FLAT * (1.0 - share) + contracted * share)


def reoriented(base: Floats, added: Floats) -> Floats:
    """Unit normals (..., 3): `added` over the unit normals `base` (Barre-Brisebois and Hill 2012); see above."""
    t, u = base + FLAT, added * _FLIP
    along = np.einsum("...i,...i->...", t, u)[..., None]
    return unit(t * along - u * t[..., 2:])


@dataclass(frozen=True, eq=False)
class DetailMaps:
    """A detail's two normal maps and the masks of its folds: by name (rows, columns), from 0 to 1, of any sizes."""

    relaxed: NormalMap
    contracted: NormalMap
    masks: Mapping[str, Floats]
    mixing: Mixing = "plain"

    @property
    def size(self) -> tuple[int, int]:
        """Columns and rows of the blended map: the larger of the two maps', each way."""
        one, other = self.relaxed.size, self.contracted.size
        return max(one[0], other[0]), max(one[1], other[1])


def factor_at(
    maps: DetailMaps, strengths: Mapping[str, float], uv: Floats, elsewhere: Mapping[str, Floats] = MappingProxyType({})
) -> Floats:
    """Factors (n,) at texture coordinates (n, 2), v down; folds that `strengths` leaves out have strength 0.

    `elsewhere`: by fold, the places' texture coordinates (n, 2) for masks over another set than the maps.
    """
    return _factor(maps, strengths, (len(uv),), lambda name, values: sampled(values, elsewhere.get(name, uv)))


def normals_at(
    maps: DetailMaps, strengths: Mapping[str, float], uv: Floats, elsewhere: Mapping[str, Floats] = MappingProxyType({})
) -> Floats:
    """The blended unit normals (n, 3) at texture coordinates (n, 2), v down; `elsewhere` as in `factor_at`."""
    return _normals(maps, strengths, lambda name, values: sampled(values, elsewhere.get(name, uv)))


class _Sampler(Protocol):
    """Samples an image at the places in question; `name` is a fold's, or empty for a normal map."""

    def __call__(self, name: str, values: Stored) -> Floats: ...


def _normals(maps: DetailMaps, strengths: Mapping[str, float], sample: _Sampler) -> Floats:
    relaxed, contracted = (
        decoded(sample("", image.stored) / image.largest) for image in (maps.relaxed, maps.contracted)
    )
    return mixed(relaxed, contracted, _factor(maps, strengths, relaxed.shape[:-1], sample), maps.mixing)


def _factor(maps: DetailMaps, strengths: Mapping[str, float], shape: tuple[int, ...], sample: _Sampler) -> Floats:
    active = {name: strengths[name] for name in maps.masks if strengths.get(name, 0.0) != 0.0}
    masks = (sample(name, maps.masks[name]) for name in active)
    return fold_factor(masks, active.values(), shape)


def blended_map(maps: DetailMaps, strengths: Mapping[str, float]) -> Floats:
    """The blended unit normals (rows, columns, 3) at the texel middles of a map of `maps.size`."""
    return np.concatenate(list(_bands(maps, strengths)))


def still(maps: DetailMaps, strengths: Mapping[str, float]) -> bytes:
    """The blended normal map at these strengths as an 8-bit RGB PNG; the same bytes on every run."""
    return png_in_colour(map(encoded, _bands(maps, strengths)), maps.size)


def _bands(maps: DetailMaps, strengths: Mapping[str, float]) -> Iterator[Floats]:
    """The blended map from top to bottom, so many rows at a time that little memory is needed."""
    columns, rows = maps.size
    step = max(1, TEXELS_AT_ONCE // columns)
    u, v = (np.arange(columns) + 0.5) / columns, (np.arange(rows) + 0.5) / rows
    for first in range(0, rows, step):
        yield _normals(maps, strengths, partial(_on_grid, u, v[first : first + step]))


def _on_grid(u: Floats, v: Floats, name: str, values: Stored) -> Floats:
    return sampled_on_grid(values, u, v)
