"""The skin that expectations are measured on: one mesh, prepared; positions in, a figure for each frame out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from plica.evaluate.pose_components import skeleton_of
from plica.measure.area_shares import kept_to
from plica.measure.worst_values import FrameValues, WorstValues
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.vertex_places import heaviest_joints
from plica.prove.registry import MissingMeasureError, PairMeasure, SkinMeasure, skin_measure
from plica.prove.results import WorstPlace
from plica.rig.expectations import cut_border
from plica.rig.region_sources import joints_of, regions_of
from plica.rig.rig import Expectation, Rig
from plica.skeleton.algebra import length, subtract

if TYPE_CHECKING:
    from plica.measure.stretch import Stretch, Stretched
    from plica.mesh.skin_mirror import SkinSymmetry

PERCENTILES: Final = (0.5, 0.9, 0.95, 0.98, 0.99)
"""Shares of the area whose figures are told."""
SkinGauge = Callable[[Floats, Integers], WorstValues]
"""Positions (frames, v, 3), and the first frames (runs,) of runs of them, to the worst figure of each run, in the
inside unit of the expectation."""


class PairBlock(NamedTuple):
    """Positions (frames, v, 3) in some poses, with the shapes and without, and in their mirror images."""

    shaped: Floats
    bare: Floats
    mirrored_shaped: Floats
    mirrored_bare: Floats


PairGauge = Callable[[PairBlock], tuple[FrameValues, FrameValues]]
"""The figures of each frame, of what the shapes add and of the bare skin."""


def together(gauges: Sequence[SkinGauge]) -> Callable[[Floats, Integers], list[WorstValues]]:
    """All figures of some gauges at once; those about the deformation of the same triangles share the work."""

    def measured(positions: Floats, starts: Integers) -> list[WorstValues]:
        shared: dict[int, Stretched] = {}
        result = []
        for gauge in gauges:
            if isinstance(gauge, DeformationGauge):
                key = id(gauge.stretch)
                if key not in shared:
                    shared[key] = gauge.stretch.worst(positions, starts)
                result.append(gauge.figure(shared[key]))
            else:
                result.append(gauge(positions, starts))
        return result

    return measured


class UnmeasurableError(Exception):
    """Why an expectation cannot be measured on this mesh. Never leaves this package."""


@dataclass(frozen=True, eq=False)
class Skin:
    """What is measured: the rig, its mesh, the weights of its regions, and the positions (v, 3) at rest.

    `stretches` keeps what several expectations share, by region, uv set and border. `symmetry`: the mirror plane and
    the vertices' partners, None where none is known.
    `whole`, `vertices` (v,): of a part of a skin that skin, and which of its vertices the part has, rising.
    """

    rig: Rig
    mesh: Mesh
    regions: Mapping[str, Floats]
    rest: Floats
    stretches: dict[tuple[str, str | None, float], Stretch] = field(default_factory=dict)
    symmetry: SkinSymmetry | None = None
    whole: Skin | None = None
    vertices: Integers | None = None

    def gauge(self, expectation: Expectation) -> SkinGauge:
        """The measure of an expectation. Raises UnmeasurableError, and MissingMeasureError for a kind without one."""
        measure = skin_measure(expectation.kind)
        if not isinstance(measure, SkinMeasure):
            raise MissingMeasureError(f"`{expectation.kind}` is measured in pairs of poses")
        return measure.prepare(self, expectation, self.weights_of(expectation))

    def pair_gauge(self, expectation: Expectation) -> PairGauge:
        """The measure of an expectation about poses and their mirror images; raises as `gauge` does."""
        measure = skin_measure(expectation.kind)
        if not isinstance(measure, PairMeasure):
            raise MissingMeasureError(f"`{expectation.kind}` is measured in single poses")
        return measure.prepare(self, expectation, [self._weights(name) for name in expectation.of])

    def heat(self, expectation: Expectation) -> Callable[[Floats], Floats]:
        """For positions (v, 3), how hot each triangle (t,) is: 1 at the limit. Nothing is where its kind shows no heat.

        Raises UnmeasurableError.
        """
        measure = skin_measure(expectation.kind)
        if measure.heat is None:
            return lambda positions: np.zeros(len(self.mesh.triangles))
        return measure.heat(self, expectation, [self._weights(name) for name in expectation.of])

    def percentiles(self, expectation: Expectation, positions: Floats) -> tuple[tuple[float, float], ...]:
        """The figures that these shares of the region's area keep to at positions (v, 3), shares first; none where a
        kind has no figure for each triangle. Raises UnmeasurableError.
        """
        spread = skin_measure(expectation.kind).spread
        if spread is None:
            return ()
        values, areas = spread(self, expectation, [self._weights(name) for name in expectation.of])(positions)
        return tuple((share, float(kept_to(values[:, None], areas, share)[0][0])) for share in PERCENTILES)

    def weights_of(self, expectation: Expectation) -> list[Floats]:
        """The weights (v,) of the regions that an expectation is about, then of that which it holds them against.

        Raises UnmeasurableError for one that covers nothing.
        """
        return [self._weights(name) for name in (*expectation.of, expectation.against) if name is not None]

    def stretching(self, expectation: Expectation, weights: Floats) -> Stretch:
        """Against the surface at rest, or the texture layout that the expectation names; the same for all who ask.

        Raises UnmeasurableError.
        """
        from plica.measure.stretch import Stretch

        border = cut_border(expectation)
        asked = (expectation.of[0], expectation.uv, border)
        if asked not in self.stretches:
            if expectation.uv is None:
                self.stretches[asked] = Stretch.on_surface(self.mesh, weights, self.rest, border)
            elif expectation.uv in self.mesh.uvs:
                self.stretches[asked] = Stretch.on_texture(self.mesh, weights, self.rest, expectation.uv, border)
            else:
                raise UnmeasurableError(f"the mesh has no uv set {expectation.uv}")
        return self.stretches[asked]

    def _weights(self, region: str) -> Floats:
        weights = self.regions.get(region)
        if weights is None or not (weights > 0).any():
            raise UnmeasurableError(f"{region} covers nothing of the mesh")
        return weights

    def place(self, expectation: Expectation, vertex: int) -> WorstPlace:
        """Where a figure was found; a figure of a whole region (vertex -1) is in its middle, with its main joint."""
        region = expectation.of[0]
        if vertex < 0:
            return self._middle(region)
        joint = int(heaviest_joints(self.mesh)[vertex])
        x, y, z = self.mesh.positions[vertex].tolist()
        return WorstPlace(region, vertex, self._name(joint), (x, y, z))

    def _middle(self, region: str) -> WorstPlace:
        """The mean place of a region's vertices and the joint that carries most of it, both by weight."""
        weights, mesh = self.regions[region], self.mesh
        x, y, z = (weights @ mesh.positions / weights.sum()).tolist()
        carried = np.zeros(len(self.rig.skeleton) + 1)
        np.add.at(carried, mesh.bind_joints[mesh.joints], weights[:, None] * mesh.weights)
        return WorstPlace(region, -1, self._name(int(carried.argmax()) if carried.any() else -1), (x, y, z))

    def _name(self, joint: int) -> str:
        return self.rig.skeleton[joint].name if 0 <= joint < len(self.rig.skeleton) else ""

    def limb(self, region: str) -> tuple[Floats, Floats]:
        """A limb's joint and the next one, at rest, that a region lies between. Raises UnmeasurableError."""
        skeleton = skeleton_of(self.rig)
        joint = skeleton.index[self._first_joint(region)]
        start = skeleton.frames[joint].origin
        ends = [skeleton.frames[index].origin for index, other in enumerate(skeleton.joints) if other.parent == joint]
        ends = [end for end in ends if length(subtract(end, start)) > 0]
        if not ends:
            raise UnmeasurableError(f"no joint comes after that of {region}, so it has no length to go along")
        furthest = max(ends, key=lambda end: length(subtract(end, start)))
        return np.array(start), np.array(furthest)

    def _first_joint(self, name: str) -> str:
        """The first joint whose skin a region is made of."""
        regions = {region.name: region for region in self.rig.regions}
        source = regions[name].source
        while parts := regions_of(source):
            source = regions[parts[0]].source
        joints = joints_of(source)
        if not joints:
            raise UnmeasurableError(f"{name} is not the skin of a joint, so it has no length to go along")
        return joints[0]


@dataclass(frozen=True, eq=False)
class DeformationGauge:
    """A figure of how triangles are deformed; gauges of the same triangles share the work (`together`)."""

    stretch: Stretch
    figure: Callable[[Stretched], WorstValues]

    def __call__(self, positions: Floats, starts: Integers) -> WorstValues:
        return self.figure(self.stretch.worst(positions, starts))
