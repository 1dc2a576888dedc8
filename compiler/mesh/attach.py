"""The mesh attached to a rig: every shape's offsets computed on it.

A shape of both sides has one sculpt. It is taken off the pose that it was made in, then mirrored to the other side or
split between them, faded out where its region ends, and short offsets are dropped; each step tells what it lost.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, partial
from graphlib import TopologicalSorter

import numpy as np

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Integers, Mesh, Offsets
from plica.mesh.computed_cache import ComputedCache, Remembering, body_of
from plica.mesh.drafted_shapes import is_drafted, report_changed_inputs, with_hand
from plica.mesh.fingerprint import fingerprint
from plica.mesh.found_areas import FoundAreas
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.left_behind import left_behind, report_left_behind
from plica.mesh.mesh_diagnostics import find_mesh, find_symmetry
from plica.mesh.mirror import Handing, Mirrored, copy_partners, handing, side_of
from plica.mesh.neutral_skin import NeutralSkin, neutral_skin
from plica.mesh.normals import OwnNormals
from plica.mesh.offsets import Size, largest_of, report_loss, report_unpaired, size_of, trimmed, weighted
from plica.mesh.recognition.residues import WholeSculpt, report_residues, residues_of
from plica.mesh.region_sources import RegionSources
from plica.mesh.regions import RegionWeigher
from plica.mesh.sculpt_offsets import Locate, Sculpting, UnposedSculpt, together
from plica.mesh.side_weights import SideWeights, halves_of, side_weights
from plica.mesh.symmetry import SymmetryMap
from plica.mesh.symmetry import size_of as body_size
from plica.mesh.unpose import FOLDED
from plica.quantities import percent
from plica.rig.rig import Rig
from plica.rig.surface_order import shape_groups, surface_needs
from plica.rig.surfaces import Morph, Region, Sculpt, Shape
from plica.source import Span
from plica.workspace import Refused, located_bytes

SpanOf = Callable[[str, str], Span | None]
"""Where an entry was written, by kind and output name."""
Step = Callable[[str], None]
"""Called with what is done next, for progress."""


@dataclass(frozen=True, eq=False)
class Attached:
    """A rig's mesh, what was found out about it, and the shapes on it.

    regions: weights (v,) by output name; shapes: offsets by output name, of the shapes that have a sculpt; sizes: what
    each weighs. `sides` and `symmetry` are None without a mirror plane. neutral: the mesh in the neutral stance, where
    both were found; None where that is the mesh. sculpts: as they were made, on the undeformed mesh, by declared shape
    and the strength that they stand for; of those that this run computed and did not remember, where they were asked
    for. directions: of regions
    found from deformation, or made of such, the unit vectors (v, 3) along which skin changes most, in model space of
    the neutral stance; 0 outside.
    """

    mesh: Mesh
    fingerprint: str
    symmetry: SymmetryMap | None
    sides: SideWeights | None
    regions: Mapping[str, Floats]
    shapes: Mapping[str, Inbetweens]
    sizes: Mapping[str, Size]
    neutral: NeutralSkin | None = None
    sculpts: Mapping[tuple[str, float], UnposedSculpt] = field(default_factory=dict)
    directions: Mapping[str, Floats] = field(default_factory=dict)


def attach(
    rig: Rig,
    locate: Locate,
    diagnostics: Diagnostics,
    span_of: SpanOf = lambda kind, name: None,
    step: Step = lambda text: None,
    normals: bool = False,
    memory: ComputedCache | None = None,
    sculpts: bool = True,
) -> Attached | None:
    """Read the rig's mesh and compute its regions and shapes; None, after diagnostics, where there is no mesh.

    `locate` finds the files that the spec names; `normals` also computes how normals change. `memory` holds what
    earlier runs computed; what has not changed since is taken from it. `sculpts`: whether to keep what was sculpted
    beside what shapes became of it (`Attached.sculpts`).
    """
    memory = memory or ComputedCache(keeps=False)
    memory.begin()
    geometry = rig.character.geometry
    if geometry is None:
        return None
    path = locate(geometry.file)
    if isinstance(path, Refused):
        diagnostics.add_filled(path.name, None, path.values)
        return None
    step("reading the mesh")
    span = span_of("character", rig.character.name)
    body = body_of(rig, memory.digest(path))
    mesh = memory.recall(("mesh", body), diagnostics, lambda: find_mesh(rig, path, geometry.file, span, diagnostics))
    if mesh is None:
        return None
    remembering = Remembering(rig, memory, body, locate, diagnostics)
    return _Attaching(rig, mesh, locate, diagnostics, span_of, step, normals, remembering, sculpts).attached()


class _Attaching:
    """One run; shapes are computed after those that were on while they were sculpted."""

    def __init__(
        self,
        rig: Rig,
        mesh: Mesh,
        locate: Locate,
        diagnostics: Diagnostics,
        span_of: SpanOf,
        step: Step,
        normals: bool,
        remembering: Remembering,
        keep_sculpts: bool,
    ) -> None:
        self.remembering, self.keep_sculpts = remembering, keep_sculpts
        self.rig, self.mesh, self.locate, self.diagnostics = rig, mesh, locate, diagnostics
        self.span_of, self.step, self.normals = span_of, step, normals
        self.joints = [joint.name for joint in rig.skeleton]
        self.neutral = neutral_skin(rig, mesh)
        self.symmetry, self.sides = self._halves()
        self.sculpting = Sculpting(rig, mesh, self.sides, locate, diagnostics, body_size(mesh.positions))

    def attached(self) -> Attached:
        """Everything computed."""
        character = self.span_of("character", self.rig.character.name)
        report_left_behind(self.diagnostics, character, left_behind(self.rig, self.neutral.mesh))
        weigher = self._weigher()
        regions = self._surfaces(weigher)
        self._report_residues(regions)
        shapes_by_name = {shape.name: self.sculpting.shapes[shape.name] for shape in self.rig.shapes
                          if shape.name in self.sculpting.shapes}  # fmt: skip
        sizes = {name: size_of(item, self.mesh, self.joints) for name, item in shapes_by_name.items()}
        neutral = None if self.neutral.linear is None else self.neutral
        return Attached(
            self.mesh,
            str(fingerprint(self.mesh)),
            self.symmetry,
            self.sides,
            regions,
            shapes_by_name,
            sizes,
            neutral,
            self.sculpting.sculpts,
            weigher.directions,
        )

    def _weigher(self) -> RegionWeigher:
        span_of, mesh = self._region_span, self.neutral.mesh
        sources = RegionSources(mesh, self.rig.skeleton, self._bytes, span_of, self.diagnostics)
        found = FoundAreas(self.rig, self.mesh, self.neutral, self.sculpting.shapes, self.diagnostics, span_of)
        partners = None if self.symmetry is None else self.symmetry.partners
        return RegionWeigher(self.rig, mesh, self.sides, sources, self.remembering.region, partners, found.of)

    def _surfaces(self, weigher: RegionWeigher) -> dict[str, Floats]:
        """Computes regions and shapes, each after what it needs; the weights of the regions."""
        regions: dict[str, Floats] = {}
        groups = shape_groups(self.rig.shapes)
        done = 0
        self.step("weighing regions")
        for kind, name in TopologicalSorter(surface_needs(self.rig.regions, self.rig.shapes)).static_order():
            if kind == "region":
                regions[name] = weigher.settle(name)
                continue
            done += 1
            shapes = groups[name]
            self.step(f"shape {done} of {len(groups)}: {shapes[0].declared}")
            finished = self.remembering.shapes(shapes, self.normals, partial(self._finished_group, shapes, regions))
            self.sculpting.shapes.update(finished)
        return {region.name: regions[region.name] for region in self.rig.regions}

    def _report_residues(self, regions: Mapping[str, Floats]) -> None:
        """Says what whole-mesh sculpts move besides what was sculpted."""
        within: dict[str, Floats] = {}
        for shape in self.rig.shapes:
            if shape.within is not None and shape.within in regions:
                own = regions[shape.within]
                within[shape.declared] = np.maximum(within.get(shape.declared, own), own)
        wholes = {
            one.pose.file: WholeSculpt(one.pose.file, one.offsets, within.get(shape))
            for (shape, _), one in self.sculpting.sculpts.items()
            if one.whole
        }
        residues = residues_of(wholes, self.mesh, tuple(self.joints), self.sculpting.size)
        report_residues(residues, self.span_of("character", self.rig.character.name), self.diagnostics)

    def _finished_group(self, shapes: tuple[Shape, ...], regions: Mapping[str, Floats]) -> dict[str, Inbetweens]:
        """Shapes that share a sculpt, by name; those without one are left out."""
        computed = list(zip(shapes, self._computed(shapes), strict=True))
        report_changed_inputs(shapes, self.sculpting.sculpts, regions, self.span_of, self.diagnostics, self.rig)
        result = {shape.name: self._finished(shape, one, regions) for shape, one in computed if one is not None}
        if not self.keep_sculpts:
            self.sculpting.forget(shapes[0].declared)
        return result

    # ---- sides and regions

    def _halves(self) -> tuple[SymmetryMap | None, SideWeights | None]:
        if self.rig.symmetry is None:
            return None, None
        self.step("finding which vertex mirrors which")
        span = self.span_of("character", self.rig.character.name)
        symmetry = self.remembering.symmetry(lambda: find_symmetry(self.rig, self.neutral.mesh, span, self.diagnostics))
        halves = halves_of(self.rig, symmetry.plane if symmetry else None)
        if halves is None:
            return symmetry, None
        seam = symmetry.vertex_seam if symmetry is not None else None
        character = self.rig.character
        return symmetry, side_weights(self.neutral.mesh, halves, seam, character.band, character.tolerance)

    def _region_span(self, region: Region) -> Span | None:
        return self.span_of("region", region.name)

    def _bytes(self, file: str) -> bytes | Refused:
        return located_bytes(self.locate, file, "image_bytes")

    # ---- shapes

    def _computed(self, shapes: tuple[Shape, ...]) -> list[Inbetweens | None]:
        """The shapes' offsets before regions and thresholds, in their order."""
        first = shapes[0]
        span = self.span_of("shape", first.name)
        primary = self._source(shapes, [shape.source for shape in shapes], span)
        if primary is None:
            return [None] * len(shapes)
        between: list[tuple[float, Offsets]] = []
        for number, item in enumerate(first.inbetweens):
            sculpts: list[Sculpt | Morph | None] = [
                shape.inbetweens[number].sculpt for shape in shapes if number < len(shape.inbetweens)
            ]
            taken = self._source(shapes, sculpts, span, item.at)
            if taken is not None:
                between.append((item.at, taken))
        between = with_hand(first.declared, between, self.sculpting.sculpts, self.mesh.vertex_count)
        whole = Inbetweens(primary, tuple(at for at, _ in between), tuple(offsets for _, offsets in between))
        return [self._of_side(shape, whole, shapes) for shape in shapes]

    def _source(
        self, shapes: tuple[Shape, ...], sources: list[Sculpt | Morph | None], span: Span | None, strength: float = 1.0
    ) -> Offsets | None:
        """The offsets of one sculpt or morph target on the neutral mesh; `strength`: what it is the shape at."""
        source = sources[0]
        if isinstance(source, Morph):
            return self._morph(source, shapes[0].declared, span)
        sculpts = [item for item in sources if isinstance(item, Sculpt)]
        if not sculpts:
            return None
        if len(sculpts) == 2:
            sculpts.append(together(sculpts[0], sculpts[1]))
        taken = self.sculpting.taken(shapes, sculpts, span, strength)
        return taken.offsets if taken is not None else None

    def _morph(self, source: Morph, shape: str, span: Span | None) -> Offsets | None:
        """A morph target of the mesh; an error where there is none, because the shape would be left out."""
        if source.name not in self.mesh.morphs:
            hint = self.diagnostics.near_hint(source.name, self.mesh.morphs)
            self.diagnostics.add("morph-not-in-mesh", span, shape=shape, name=source.name, hint=hint)
        return self.mesh.morphs.get(source.name)

    def _of_side(self, shape: Shape, whole: Inbetweens, shapes: tuple[Shape, ...]) -> Inbetweens:
        """A side's share of a sculpt of both sides."""
        if len(shapes) == 1 or self.sides is None or self.symmetry is None:
            return whole
        decided = handing(whole.primary, self.sides, shape.threshold, shape.sided)
        if not decided.plain and shape is shapes[0]:
            span, values = (
                self.span_of("shape", shape.name),
                {"shape": shape.declared, "percent": percent(decided.share)},
            )
            self.diagnostics.add_filled("sides-unclear", span, values)
        return Inbetweens(
            self._share(shape, whole.primary, decided),
            whole.at,
            tuple(self._share(shape, offsets, decided) for offsets in whole.offsets),
            decided.sided,
        )

    @cached_property
    def _partners(self) -> Integers:
        assert self.symmetry is not None
        return copy_partners(self.mesh.points, self.symmetry.partners)

    @cached_property
    def _own_normals(self) -> OwnNormals:
        return OwnNormals(self.mesh)

    def _share(self, shape: Shape, offsets: Offsets, decided: Handing) -> Offsets:
        assert self.sides is not None and self.symmetry is not None
        span, normal = self.span_of("shape", shape.name), self.symmetry.plane.normal

        def image(whole: Offsets) -> Mirrored:
            result, flat = self.neutral.mirrored(whole, self._partners, normal)
            if flat is not None:
                self.diagnostics.add_filled(FOLDED, span, flat.texts(shape.declared))
            return result

        share = side_of(offsets, shape.side, decided, self.sides, image)
        lost = (share.without_partner, share.largest_lost)
        report_unpaired(self.diagnostics, span, shape.name, *lost, largest_of(offsets.offsets))
        return share.offsets

    def _finished(self, shape: Shape, source: Inbetweens, regions: Mapping[str, Floats]) -> Inbetweens:
        """Faded out where its region ends, without short offsets, with normals where they are wanted."""
        columns = []
        fades = not is_drafted(shape, self.sculpting.sculpts)  # a draft fades out by itself, over its border
        for offsets in source.columns:
            if fades and shape.within is not None and shape.within in regions:
                offsets = weighted(offsets, regions[shape.within])
            kept, loss = trimmed(offsets, shape.threshold)
            report_loss(self.diagnostics, self.span_of("shape", shape.name), shape.name, loss)
            columns.append(self._with_normals(kept) if self.normals else kept)
        return Inbetweens(columns[0], source.at, tuple(columns[1:]), source.sided)

    def _with_normals(self, offsets: Offsets) -> Offsets:
        """The offsets with the change of the normals, on every vertex where either changes."""
        moved = self.mesh.positions.copy()
        moved[offsets.indices] += offsets.offsets
        change = self._own_normals.changes(moved)
        changes = np.asarray((np.abs(change) > NORMAL_CHANGE).any(axis=1))
        changes[offsets.indices] = True
        indices = np.flatnonzero(changes)
        full = np.zeros_like(self.mesh.positions)
        full[offsets.indices] = offsets.offsets
        return Offsets(indices, full[indices], change[indices])


NORMAL_CHANGE = 1e-5  # components that change less are not worth storing in single precision
