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
from plica.mesh.attach import Attached, SpanOf
from plica.mesh.model import Floats
from plica.mesh.painting import Painting, PaintingError, read_painting, sampled
from plica.mesh.region_sources import Read
from plica.mesh.split import SideWeights
from plica.rig.model import Fold, Painted, Region, Rig
from plica.texture.mirrored import MirrorPlaces, mirror_places
from plica.texture.raster import Singles
from plica.texture.sheet import Sheet
from plica.workspace import Refused

OVERLAP_NOTICED = 1.0 / 255.0
"""Weights of skin that shares a texel may differ by so much: one step of 8 bits."""


class Area(NamedTuple):
    """A fold's mask at full size (size, size)."""

    fold: Fold
    values: Singles
    mirrored: bool


@dataclass(eq=False)
class Areas:
    """Makes masks of one sheet; images are read once."""

    rig: Rig
    attached: Attached
    read: Read
    found: Diagnostics
    span_of: SpanOf
    sheet: Sheet
    uv: Floats
    paintings: dict[str, Painting] = field(default_factory=dict)
    _mirror: MirrorPlaces | None = None

    def areas(self, folds: list[Fold]) -> Iterator[Area]:
        """The masks of folds, in their order; one at a time, as they are large."""
        weights = np.stack([self.attached.regions[fold.area] for fold in folds])
        self._tell_overlaps(folds, weights)
        values = self.sheet.values(weights)
        regions = {region.name: region for region in self.rig.regions}
        for number, fold in enumerate(folds):
            region, mirrored = regions[fold.area], False
            mask = values[number]
            if isinstance(region.source, Painted) and region.feather == 0.0:
                mask, mirrored = self._painted(region, region.source, mask)
            yield Area(fold, self.sheet.spread(mask), mirrored)

    def _tell_overlaps(self, folds: list[Fold], weights: Floats) -> None:
        counts = self.sheet.disagreement(weights, OVERLAP_NOTICED)
        for fold, count in zip(folds, counts, strict=True):
            if count:
                self.found.add("mask-on-shared-texels", self.span_of("fold", fold.name), fold=fold.name, texels=count)

    def _painted(self, region: Region, source: Painted, by_vertex: Singles) -> tuple[Singles, bool]:
        """The values (entries,) of a painted area, and whether they are the mirror image of the other side's."""
        painting = self._painting(source)
        if painting is None:
            return by_vertex, False
        other = self._painted_side(region)
        if other is not None:
            mirrored = self._mirrored(painting, region, other)
            if mirrored is not None:
                return mirrored, True
        image = sampled(painting, self.sheet.places()).astype(np.float32)
        return self.sheet.continued(image) * self._side(region), False

    def _side(self, region: Region) -> Singles:
        """The weight of a region's side (entries,)."""
        sides = self.attached.sides
        weights = np.ones(len(self.uv)) if sides is None else sides.of(region.side)
        side: Singles = self.sheet.values(weights[None])[0]
        return side

    def _painted_side(self, region: Region) -> Region | None:
        """The region of the other side, if what is painted lies there alone."""
        sides = self.attached.sides
        if region.side == "none" or sides is None or self.attached.symmetry is None:
            return None
        other = next(
            (
                one
                for one in self.rig.regions
                if one.declared == region.declared and one.side not in (region.side, "none")
            ),
            None,
        )
        if other is None or other.source != region.source:
            return None
        ours = _beyond_seam(self.attached.regions[region.name], sides, region)
        theirs = _beyond_seam(self.attached.regions[other.name], sides, other)
        return other if theirs.any() and not ours.any() else None

    def _mirrored(self, painting: Painting, region: Region, other: Region) -> Singles | None:
        symmetry = self.attached.symmetry
        if symmetry is None:
            return None
        if self._mirror is None:
            self._mirror = mirror_places(self.sheet, self.attached.mesh, self.uv, symmetry)
        places, known = self._mirror
        partners = symmetry.vertex_partners
        weights = np.where(partners >= 0, self.attached.regions[other.name][partners], 0.0)
        coarse: Singles = self.sheet.values(weights[None])[0]
        image = np.zeros(len(places), np.float32)
        image[known] = sampled(painting, places[known])
        fine = self.sheet.continued(image) * self._side(region)
        everywhere = np.concatenate([known, known[self.sheet.behind]])
        return np.where(everywhere, fine, coarse)

    def _painting(self, source: Painted) -> Painting | None:
        """The image; None where it cannot be read any more, which the mesh's regions have told already."""
        if source.file not in self.paintings:
            data = self.read(source.file)
            try:
                if isinstance(data, Refused):
                    return None
                self.paintings[source.file] = read_painting(data)
            except PaintingError:
                return None
        return self.paintings[source.file]


def _beyond_seam(weights: Floats, sides: SideWeights, region: Region) -> Floats:
    """The weights where the skin belongs to the region's side alone."""
    return np.where(sides.of(region.side) == 1.0, weights, 0.0)
