"""Regions that the skin finds: where it shortens or lengthens, by a shape or in a pose.

The strain of the skin against the neutral stance (`plica.mesh.surface_strain`) gives each point an amount: by how much
of its length the line of the direction that changes most is shorter (or longer), or the line along or across a stated
direction. The amount rises to a weight by a smoothstep. Islands are the connected skin above a quarter of the greatest
weight; what is weaker belongs to the nearest island and stays or goes with it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import connected_components, dijkstra

from plica.diagnostics import Diagnostics
from plica.kinds.complete import complete
from plica.kinds.deformations import DEFORMATIONS
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.deform import Deformer
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.neutral_skin import NeutralSkin
from plica.mesh.pose_solver import PoseSolver
from plica.mesh.region_sources import SpanOf, UnusableError
from plica.mesh.surface_strain import RestSurface
from plica.mesh.weld import edges_of, per_point, point_triangles
from plica.quantities import area, percent
from plica.rig.rig import Rig
from plica.rig.surfaces import AreaDirection, DeformedSkin, Region

LEAST_PEAK: Final = 0.01
"""A peak of less than 1 % of a line's length is no wrinkle (from the trials; common practice, no source)."""
ISLAND_LEVEL: Final = 0.25
COARSE: Final = 25.0
"""How many times the skin of a peak a single point may have: edges of five times its width."""
_DIGITS: Final = 6  # of weights: the last ones of a solution differ between processors
_UNSEEN: Final = 1e-6


class Change(NamedTuple):
    """A kind of deformation: `column` of the rising eigenvalues that it looks at, and `amount`: the share of a line's
    length from its logarithmic strain, 0 where the line changes the other way."""

    column: int
    amount: Callable[[Floats], Floats]


CHANGES: Final[Mapping[str, Change]] = complete(
    {
        "shortened": Change(0, lambda strain: np.asarray(-np.expm1(np.minimum(strain, 0.0)))),
        "lengthened": Change(-1, lambda strain: np.asarray(np.expm1(np.maximum(strain, 0.0)))),
    },
    DEFORMATIONS,
    "change of skin",
)


class FoundArea(NamedTuple):
    """Weights (p,), and the direction (p, 3) in which the skin changes most, a unit vector in the neutral stance whose
    sign means nothing; 0 where the weight is 0."""

    weights: Floats
    directions: Floats


class FoundAreas:
    """Finds the areas of one rig; `shapes` holds those that are computed by the time an area asks for them."""

    def __init__(
        self,
        rig: Rig,
        mesh: Mesh,
        neutral: NeutralSkin,
        shapes: Mapping[str, Inbetweens],
        diagnostics: Diagnostics,
        span_of: SpanOf,
    ) -> None:
        self._rig, self._mesh, self._neutral, self._shapes = rig, mesh, neutral, shapes
        self._diagnostics, self._span_of = diagnostics, span_of
        self._found: dict[DeformedSkin, FoundArea | None] = {}

    @cached_property
    def surface(self) -> RestSurface:
        """The neutral skin by welded point."""
        mesh = self._neutral.mesh
        return RestSurface.of(per_point(mesh.points, mesh.positions), point_triangles(mesh))

    @cached_property
    def _solver(self) -> PoseSolver:
        return PoseSolver(self._rig)

    def of(self, region: Region, source: DeformedSkin) -> FoundArea:
        """The area of a region; both sides have one of both. Raises UnusableError, after a diagnostic, where none is
        found."""
        if source not in self._found:
            self._found[source] = None
            self._found[source] = self._area(region, source)
        found = self._found[source]
        if found is None:
            raise UnusableError
        return found

    def _area(self, region: Region, source: DeformedSkin) -> FoundArea:
        posed = self._shaped(source) if source.by else self._posed(region, source)
        tensors = self.surface.smoothed_strain(per_point(self._mesh.points, posed), source.smoothing)
        strain, directions = self._lines(tensors, source)
        amounts = CHANGES[source.how].amount(strain)
        least, greatest = self._ends(region, source, amounts)
        share = np.clip((amounts - least) / (greatest - least), 0.0, 1.0)
        weights = self._without_islands(region, source, share * share * (3.0 - 2.0 * share))
        return FoundArea(np.round(weights, _DIGITS), np.where(weights[:, None] > 0.0, directions, 0.0))

    # ---- the deformed skin

    def _shaped(self, source: DeformedSkin) -> Floats:
        """The skin (v, 3) in the neutral stance with the shapes on. Those that have no sculpt are told elsewhere."""
        known = [self._shapes[name].primary for name in source.by if name in self._shapes]
        if not known:
            raise UnusableError
        moves = np.zeros_like(self._mesh.positions)
        for offsets in known:
            moves[offsets.indices] += offsets.offsets
        if self._neutral.linear is not None:
            moves = np.einsum("vij,vj->vi", self._neutral.linear, moves)
        return np.asarray(self._neutral.mesh.positions + moves)

    def _posed(self, region: Region, source: DeformedSkin) -> Floats:
        """The skin (v, 3) in the pose, with the shapes that are on there."""
        solved = self._solver.pose(source.pose)
        for problem in solved.problems:
            self._diagnostics.add_filled(problem.rule, self._span_of(region), problem.values)
        if solved.problems:
            raise UnusableError
        shapes = {name: self._shapes[name] for name in source.after if name in self._shapes}
        block = next(iter(Deformer(self._mesh, self._rig, shapes).positions(solved.poses)))
        return np.asarray(block.positions[0])

    # ---- amounts

    def _lines(self, tensors: Floats, source: DeformedSkin) -> tuple[Floats, Floats]:
        """The strain (p,) of the lines that are looked at, and their directions (p, 3)."""
        if source.direction is not None:
            lines = self._stated(source.direction)
            return np.einsum("pi,pij,pj->p", lines, tensors, lines), _unit(lines)
        values, vectors = np.linalg.eigh(tensors)
        column = CHANGES[source.how].column
        return values[:, column], vectors[:, :, column]

    def _stated(self, direction: AreaDirection) -> Floats:
        """A direction on the surface (p, 3): along or across an axis; shorter where the axis leaves the surface."""
        axis = np.array(direction.axis)
        normals = self._normals
        along = axis - (normals @ axis)[:, None] * normals
        return along if direction.way == "along" else np.cross(normals, along)

    @cached_property
    def _normals(self) -> Floats:
        surface = self.surface
        weighted = np.repeat(surface.normals * surface.triangle_areas[:, None], 3, axis=0)
        sums = [np.bincount(surface.triangles.ravel(), part, minlength=len(surface.areas)) for part in weighted.T]
        return _unit(np.stack(sums, axis=1))

    def _ends(self, region: Region, source: DeformedSkin, amounts: Floats) -> tuple[float, float]:
        """The amounts at which the weight is 0 and 1."""
        surface = self.surface
        skin = float(surface.areas.sum())
        if skin < source.peak:
            values = {"region": region.declared, "peak": area(source.peak), "skin": area(skin)}
            self._diagnostics.add_filled("peak-wider-than-skin", self._span_of(region), values)
            raise UnusableError
        peak = exceeded_over(amounts, surface.areas, source.peak)
        coarse = float(surface.areas[amounts >= peak].max(initial=0.0))
        if coarse > COARSE * source.peak:
            values = {"region": region.declared, "point": area(coarse), "peak": area(source.peak)}
            self._diagnostics.add_filled("found-on-coarse-skin", self._span_of(region), values)
        least, greatest = source.span
        if source.measure == "peak":
            least, greatest = least * peak, greatest * peak
        if peak < LEAST_PEAK or peak <= least:
            needed = max(LEAST_PEAK, least if source.measure == "length" else 0.0)
            values = {"region": region.declared, "how": source.how, "peak": percent(peak), "needed": percent(needed)}
            self._diagnostics.add_filled("nothing-deforms", self._span_of(region), values)
            raise UnusableError
        return least, greatest

    # ---- islands

    def _without_islands(self, region: Region, source: DeformedSkin, weights: Floats) -> Floats:
        """The weights (p,) without those of islands that are too small."""
        islands, sizes = self._islands(weights)
        if source.island == 0.0:
            return weights
        kept = sizes >= source.island
        if not kept.any():
            values = {
                "region": region.declared,
                "largest": area(float(sizes.max(initial=0.0))),
                "least": area(source.island),
            }
            self._diagnostics.add_filled("only-islands", self._span_of(region), values)
            raise UnusableError
        return np.where((islands >= 0) & kept[islands], weights, 0.0)

    def _islands(self, weights: Floats) -> tuple[Integers, Floats]:
        """The island (p,) that each point belongs to, -1 for none, and the square metres (islands,) of each."""
        surface = self.surface
        edges, count = edges_of(surface.triangles), len(weights)
        core = weights >= np.maximum(ISLAND_LEVEL * weights.max(initial=0.0), _UNSEEN)
        inside = edges[core[edges].all(axis=1)]
        graph = sparse.coo_array((np.ones(len(inside), np.int8), inside.T), shape=(count, count))
        _, labels = connected_components(graph, directed=False)
        _, numbers = np.unique(labels[core], return_inverse=True)
        seeds = np.flatnonzero(core)
        islands = np.full(count, -1)
        islands[seeds] = numbers
        sizes = np.asarray(np.bincount(numbers, surface.areas[seeds]), np.float64)
        weak = edges[(weights[edges] > 0.0).all(axis=1)]
        if len(seeds) and len(weak):
            lengths = np.linalg.norm(surface.positions[weak[:, 0]] - surface.positions[weak[:, 1]], axis=1)
            paths = sparse.csr_array((np.maximum(lengths, _UNSEEN), weak.T), shape=(count, count))
            _, _, sources = dijkstra(paths, directed=False, indices=seeds, min_only=True, return_predecessors=True)
            islands = np.where(sources >= 0, islands[np.maximum(sources, 0)], -1)
        return islands, sizes


def exceeded_over(amounts: Floats, areas: Floats, wanted: float) -> float:
    """The amount that this much of the surface (square metres) reaches or exceeds; amounts and areas (p,)."""
    order = np.argsort(-amounts, kind="stable")
    reached = np.cumsum(areas[order])
    return float(amounts[order[min(int(np.searchsorted(reached, wanted)), len(order) - 1)]])


def _unit(vectors: Floats) -> Floats:
    """Vectors (p, 3) at length 1; null ones stay."""
    lengths = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(np.divide(vectors, lengths, out=np.zeros_like(vectors), where=lengths > 0.0))
