"""The full-size masks of folds: what their areas weigh at every texel.

Most areas are weights of the mesh's vertices, interpolated over the triangles. A painted area without a feather
holds more than its vertices do: the image is taken at every texel, and only the side's weight comes from the
vertices. Where it was painted on one side alone, the other side gets its mirror image. Feathered areas and sets of
areas are made on the vertices.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats
from plica.mesh.attach import Attached, SpanOf
from plica.mesh.images import ImageError
from plica.mesh.painting import Painting, Paintings, sampled
from plica.mesh.region_sources import Read
from plica.mesh.regions import other_side
from plica.rig.rig import Rig
from plica.rig.surfaces import Fold, Painted, Region
from plica.texture.atlas import Atlas
from plica.texture.layout_mirror import MirrorPlaces, mirror_places
from plica.texture.raster import Singles
from plica.workspace import Refused

OVERLAP_NOTICED = 1.0 / 255.0
"""Weights of skin that shares a texel may differ by so much: one step of 8 bits."""


class _UnreadError(Exception):
    """A file that cannot be read any more. Never leaves this module."""


class FoldArea(NamedTuple):
    """A fold's mask at full size (size, size)."""

    fold: Fold
    values: Singles
    mirrored: bool


@dataclass(eq=False)
class Areas:
    """Makes masks of one sheet; images and sides are read and laid out once."""

    rig: Rig
    attached: Attached
    read: Read
    diagnostics: Diagnostics
    span_of: SpanOf
    sheet: Atlas
    uv: Floats
    paintings: Paintings = field(default_factory=Paintings)
    _images: dict[str, Singles] = field(default_factory=dict)
    _sides: dict[str, Singles] = field(default_factory=dict)
    _mirror: MirrorPlaces | None = None

    def areas(self, folds: list[Fold]) -> Iterator[FoldArea]:
        """The masks of folds, in their order; one at a time, as they are large."""
        regions = {region.name: region for region in self.rig.regions}
        for fold in folds:
            region = regions[fold.area]
            weights = self.attached.regions[fold.area]
            count = self.sheet.disagreement(weights, OVERLAP_NOTICED)
            if count:
                self.diagnostics.add(
                    "mask-on-shared-texels", self.span_of("fold", fold.name), fold=fold.name, texels=count
                )
            painted = None
            if isinstance(region.source, Painted) and region.feather == 0.0:
                painted = self._painted(region, region.source)
            yield FoldArea(fold, *(painted or (self.sheet.image(weights), False)))

    def _painted(self, region: Region, source: Painted) -> tuple[Singles, bool] | None:
        """The mask (size, size) of a painted area, and whether it is the mirror image of the other side's."""
        painting = self._painting(source)
        if painting is None:
            return None
        if self._is_mirrored(painting, region):
            return self._mirrored(painting, region), True
        if source.file not in self._images:
            self._images[source.file] = self.sheet.filled(sampled(painting, self.sheet.places).astype(np.float32))
        return self._images[source.file] * self._side(region), False

    def _side(self, region: Region) -> Singles:
        """The weight of a region's side (size, size)."""
        sides = self.attached.sides
        if sides is None or region.side == "none":
            return np.ones((1, 1), np.float32)
        if region.side not in self._sides:
            self._sides[region.side] = self.sheet.image(sides.of(region.side))
        return self._sides[region.side]

    def _is_mirrored(self, painting: Painting, region: Region) -> bool:
        """Whether what is painted for both sides lies on the other side alone."""
        sides = self.attached.sides
        if sides is None or self.attached.symmetry is None or other_side(self.rig.regions, region) is None:
            return False
        known = np.isfinite(self.uv).all(axis=1)
        values = np.zeros(len(self.uv))
        values[known] = sampled(painting, self.uv[known])
        return bool(values.any() and not values[sides.of(region.side) == 1.0].any())

    def _mirrored(self, painting: Painting, region: Region) -> Singles:
        """The mask (size, size) of the side that nothing is painted on."""
        assert self.attached.symmetry is not None
        if self._mirror is None:
            self._mirror = mirror_places(self.sheet, self.attached.mesh, self.uv, self.attached.symmetry)
        places, known = self._mirror
        image = np.zeros(len(places), np.float32)
        image[known] = sampled(painting, places[known])
        fine = self.sheet.filled(image) * self._side(region)
        everywhere = self.sheet.filled(known.astype(np.float32)) > 0.0
        return np.where(everywhere, fine, self.sheet.image(self.attached.regions[region.name]))

    def _painting(self, source: Painted) -> Painting | None:
        """The image; None where it cannot be read any more, which the mesh's regions have told already."""
        try:
            return self.paintings.of(source.file, lambda: self._bytes(source.file))
        except (ImageError, _UnreadError):
            return None

    def _bytes(self, file: str) -> bytes:
        data = self.read(file)
        if isinstance(data, Refused):
            raise _UnreadError
        return data
