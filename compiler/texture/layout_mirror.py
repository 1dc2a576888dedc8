"""Where the mirror image of each texel's skin lies in the texture.

In the layout itself, where it mirrors: one half is the other's reflection, across u or across v. Where it does not,
through the surface: the mirrored triangle is the one between the partners of a triangle's corners, and the texel's
weights hold in it too.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.symmetry import SymmetryMap
from plica.mesh.weld import labels_of_rows
from plica.texture.atlas import Atlas
from plica.texture.raster import Flags

ENOUGH: Final = 0.99
"""The share of vertices that must mirror for a layout to count as mirrored."""


class LayoutMirror(NamedTuple):
    """A layout that is its own mirror image: coordinate `axis` (0 for u, 1 for v) becomes `total` less itself."""

    axis: int
    total: float


class MirrorPlaces(NamedTuple):
    """Texture coordinates (n, 2) of the mirror images of covered texels; `known` (n,): where there is one."""

    places: Floats
    known: Flags


def layout_mirror(uv: Floats, symmetry: SymmetryMap, size: int) -> LayoutMirror | None:
    """How a layout (v, 2) mirrors, to half a texel of a texture of `size` texels; None where it does not.

    Vertices on the borders of islands have copies elsewhere in the layout and are left out.
    """
    partners = symmetry.vertex_partners
    single = (np.bincount(symmetry.points)[symmetry.points] == 1) & np.isfinite(uv).all(axis=1)
    ours = np.flatnonzero((partners >= 0) & ~symmetry.vertex_seam & single)
    ours = ours[single[partners[ours]]]
    if not len(ours):
        return None
    one, other = uv[ours], uv[partners[ours]]
    for axis in (0, 1):
        total = float(np.median(one[:, axis] + other[:, axis]))
        expected = one.copy()
        expected[:, axis] = total - one[:, axis]
        if (np.abs(expected - other) <= 0.5 / size).all(axis=1).mean() >= ENOUGH:
            return LayoutMirror(axis, total)
    return None


def mirror_places(sheet: Atlas, mesh: Mesh, uv: Floats, symmetry: SymmetryMap) -> MirrorPlaces:
    """Where the mirror images of the sheet's covered texels lie."""
    layout = layout_mirror(uv, symmetry, sheet.size)
    if layout is not None:
        places = sheet.places.copy()
        places[:, layout.axis] = layout.total - places[:, layout.axis]
        return MirrorPlaces(places, np.ones(len(places), dtype=np.bool_))
    raster = sheet.raster
    corners = mirrored_corners(mesh, raster.corners, symmetry)[raster.triangles]
    known = np.asarray((corners >= 0).all(axis=1))
    laid = uv[np.where(known[:, None], corners, 0)]
    known &= np.isfinite(laid).all(axis=(1, 2))
    places = (raster.weights[:, :, None] * np.where(known[:, None, None], laid, 0.0)).sum(axis=1)
    return MirrorPlaces(places, known)


def mirrored_corners(mesh: Mesh, corners: Integers, symmetry: SymmetryMap) -> Integers:
    """The corners (t, 3) of each triangle's mirror image, in the same order; -1 where there is no such triangle."""
    points = mesh.points[corners]
    partners = symmetry.partners[points]
    count = len(points)
    labels = labels_of_rows(np.concatenate([np.sort(points, axis=1), np.sort(partners, axis=1)]))
    triangle = np.full(int(labels.max(initial=-1)) + 1, -1, dtype=np.int64)
    triangle[labels[:count][::-1]] = np.arange(count)[::-1]
    other = triangle[labels[count:]]
    other[(partners < 0).any(axis=1)] = -1
    candidates = corners[np.maximum(other, 0)]
    same = mesh.points[candidates][:, None, :] == partners[:, :, None]
    result = np.take_along_axis(candidates, same.argmax(axis=2), axis=1)
    return np.where((other >= 0)[:, None], result, -1)
