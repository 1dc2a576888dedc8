"""The weights of a rig's regions on its mesh.

A region is worked out in three steps: what its source covers (of both sides, where it is painted, stored or a
middle joint's skin); the feather; the split, which keeps the region's side. What only joints of a side cover,
or sets of such regions, belongs to that side already and is not cut at the seam: the weights of the left arm
that reach over the middle stay, and with those of the right arm they add up to what both cover. All else is
multiplied by the side's weight (`plica.mesh.side_weights`), so left and right add up to the whole.

What is painted or stored for both sides and lies on one of them alone counts as its mirror image on the other too.

Sets take the greatest weight (union), the least (intersection), or the first times 1 less the greatest of the
others (difference). Inside a set of one side, regions of that side count whole and the set is split once, at
the end; if each were split first, the difference of two regions would not be 0 on the seam where both cover
it.

Regions found from deformation need shapes, and shapes are kept within regions, so that who computes both asks for one
region after the other (`RegionWeigher.settle`).

All is worked out for welded points, so the copies that importers make of a vertex agree bit for bit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from graphlib import TopologicalSorter
from typing import NamedTuple, assert_never

import numpy as np

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.feather import feathered, has_edge
from plica.mesh.found_areas import FoundArea
from plica.mesh.region_sets import SET_OPERATIONS
from plica.mesh.region_sources import Read, RegionSources, SpanOf, UnusableError
from plica.mesh.side_weights import SideWeights
from plica.mesh.weld import per_point, per_vertex, point_triangles
from plica.rig.region_sources import regions_of
from plica.rig.rig import Rig
from plica.rig.surfaces import DeformedSkin, Painted, Region, RegionSet, SkinOf, Stored


@dataclass(frozen=True, eq=False)
class _Cover:
    """What a region covers, by point: `whole` (p,), its feather in it; `own` (p,): what of it, before the
    feather, is its side's already and not to be split.
    """

    whole: Floats
    bare: Floats
    own: Floats

    @property
    def is_one_sided(self) -> bool:
        return bool((self.own == self.bare).all())


class Settled(NamedTuple):
    """A region worked out: what it covers, its weights (p,), and where it was found from deformation the directions
    (p, 3) in which the skin changes most."""

    cover: _Cover
    result: Floats
    directions: Floats | None = None


Recall = Callable[[Region, Callable[[], Settled]], Settled]
"""Gives what was worked out for a region before, else what the function gives."""


def region_weights(
    rig: Rig,
    mesh: Mesh,
    sides: SideWeights | None,
    read: Read,
    diagnostics: Diagnostics,
    span_of: SpanOf = lambda region: None,
    recall: Recall = lambda region, compute: compute(),
    partners: Integers | None = None,
) -> Mapping[str, Floats]:
    """The weight (v,), 0 to 1, of each region of the rig on each vertex, by name, in the order of the rig.

    `sides` are the weights of the sides (`split.side_weights`), None without a mirror plane; `read` gives the
    bytes of the files that regions name. What cannot be found is reported and weighs 0 everywhere. `recall` may give
    what an earlier run computed for the same region. `partners` (p,): the point that mirrors each welded point, -1 for
    none; without them nothing is mirrored.
    """
    return RegionWeigher(
        rig, mesh, sides, RegionSources(mesh, rig.skeleton, read, span_of, diagnostics), recall, partners
    ).weights()


Found = Callable[[Region, DeformedSkin], FoundArea]
"""Gives the area that a region finds; raises UnusableError, after a diagnostic, where there is none."""


def _not_found(region: Region, source: DeformedSkin) -> FoundArea:
    raise ValueError(f"{region.name} is found from deformation, which needs the shapes of an attached mesh")


class RegionWeigher:
    """Regions one after the other, each after those that it is made of."""

    def __init__(
        self,
        rig: Rig,
        mesh: Mesh,
        sides: SideWeights | None,
        sources: RegionSources,
        recall: Recall,
        partners: Integers | None,
        found: Found = _not_found,
    ) -> None:
        self._found = found
        self._recall, self._partners = recall, partners
        self._regions = {region.name: region for region in rig.regions}
        self._mesh, self._sides, self._sources = mesh, sides, sources
        self._diagnostics, self._span_of = sources.diagnostics, sources.span_of
        self._positions = per_point(mesh.points, mesh.positions)
        self._triangles = point_triangles(mesh)
        self._parts = {part for region in rig.regions for part in regions_of(region.source)}
        self._settled: dict[str, Settled] = {}  # those that others are made of, as large meshes take much memory
        self._directions: dict[str, Floats] = {}

    def settle(self, name: str) -> Floats:
        """The weights (v,) of a region whose parts are settled."""
        region = self._regions[name]
        settled = self._recall(region, partial(self._computed, region))
        if name in self._parts:
            self._settled[name] = settled
        if settled.directions is not None:
            self._directions[name] = settled.directions
        return per_vertex(self._mesh.points, settled.result)

    @property
    def directions(self) -> dict[str, Floats]:
        """By region that is found from deformation, or made of such: the directions (v, 3) of `Settled`, in model space
        of the neutral stance."""
        return {name: per_vertex(self._mesh.points, one) for name, one in self._directions.items()}

    def weights(self) -> dict[str, Floats]:
        """All regions' weights, by vertex."""
        needs = {
            name: [part for part in regions_of(region.source) if part in self._regions]
            for name, region in self._regions.items()
        }
        order = TopologicalSorter(needs)
        settled = {name: self.settle(name) for name in order.static_order()}
        return {name: settled[name] for name in self._regions}

    def _computed(self, region: Region) -> Settled:
        directions = None
        try:
            bare, own, directions = self._source(region)
            cover = self._cover(region, bare, own)
            result = self._kept_side(region, cover)
        except UnusableError:
            nothing = np.zeros(len(self._positions))
            cover, result = _Cover(nothing, nothing, nothing), nothing
        else:
            if not result.any():
                self._diagnostics.add("empty-region", self._span_of(region), region=region.name)
        return Settled(cover, result, directions)

    def _cover(self, region: Region, bare: Floats, own: Floats) -> _Cover:
        found = isinstance(region.source, DeformedSkin)  # has a feather without being asked for one
        if region.feather > 0.0 and not found and bare.any() and not has_edge(bare):
            self._diagnostics.add("feather-without-edge", self._span_of(region), region=region.declared)
        return _Cover(feathered(bare, region.feather, self._positions, self._triangles), bare, own)

    def _source(self, region: Region) -> tuple[Floats, Floats, Floats | None]:
        """What the source covers, what of it is the side's own, and directions."""
        source = region.source
        match source:
            case SkinOf():
                return *self._skin(source), None
            case RegionSet():
                return *self._set(region, source), self._directions_of(source)
            case DeformedSkin():
                area = self._found(region, source)
                return area.weights, np.zeros_like(area.weights), area.directions
            case Painted():
                values = self._sources.painted(region, source)
            case Stored():
                values = self._sources.stored(region, source)
            case _:
                assert_never(source)
        return self._with_mirror_image(region, values), np.zeros_like(values), None

    def _skin(self, source: SkinOf) -> tuple[Floats, Floats]:
        own = self._sources.skin(source, middle=False)
        has_middle = any(joint.side == "none" and joint.name in source.joints for joint in self._sources.skeleton)
        return (self._sources.skin(source), own) if has_middle else (own, own)

    def _with_mirror_image(self, region: Region, values: Floats) -> Floats:
        """What covers the other side alone, and its mirror image where both sides share it; else as it is."""
        partners, sides = self._partners, self._sides
        if partners is None or sides is None or other_side(self._regions.values(), region) is None:
            return values
        own = per_point(self._mesh.points, sides.of(region.side)) == 1.0
        if values[own].any() or not values.any():
            return values
        image = np.where(partners >= 0, values[partners], 0.0)
        if not image[own].any():
            return values
        self._diagnostics.add("region-mirrored", self._span_of(region), region=region.declared, side=region.side)
        return np.maximum(values, image)

    def _set(self, region: Region, source: RegionSet) -> tuple[Floats, Floats]:
        parts, one_sided = [], []
        for name in source.regions:
            whole = region.side != "none" and self._regions[name].side == region.side
            part = self._settled[name]
            parts.append(part.cover.whole if whole else part.result)
            one_sided.append(whole and part.cover.is_one_sided)
        operation = SET_OPERATIONS[source.how]
        values = operation.weights(parts)
        return values, values if operation.belongs(one_sided) else np.zeros_like(values)

    def _directions_of(self, source: RegionSet) -> Floats | None:
        """The directions of a set's parts: where several have one, the line nearest to them by their weights."""
        parts = [self._settled[name] for name in source.regions]
        found = [(part.cover.whole, part.directions) for part in parts if part.directions is not None]
        return nearest_lines(found) if found else None

    def _kept_side(self, region: Region, cover: _Cover) -> Floats:
        if region.side == "none" or cover.is_one_sided:
            return cover.whole
        if self._sides is None:
            self._diagnostics.add("side-without-plane", self._span_of(region), region=region.declared, side=region.side)
            raise UnusableError
        side = per_point(self._mesh.points, self._sides.of(region.side))
        if not cover.own.any():
            return np.asarray(side * cover.whole)
        return np.clip(cover.own + side * (cover.whole - cover.own), 0.0, 1.0)


def other_side(regions: Iterable[Region], region: Region) -> Region | None:
    """The region of the other side that was declared together with this one, of the same source."""
    if region.side == "none":
        return None
    return next(
        (
            one
            for one in regions
            if one.declared == region.declared and one.side not in (region.side, "none") and one.source == region.source
        ),
        None,
    )


def nearest_lines(parts: Sequence[tuple[Floats, Floats]]) -> Floats:
    """Of directions (p, 3) with weights (p,) each the lines (p, 3) that are nearest to all; the signs mean nothing."""
    if len(parts) == 1:
        return parts[0][1]
    tensors = sum(
        weights[:, None, None] * directions[:, :, None] * directions[:, None, :] for weights, directions in parts
    )
    values, vectors = np.linalg.eigh(tensors)
    return np.where(values[:, -1:] > 0.0, vectors[:, :, -1], 0.0)
