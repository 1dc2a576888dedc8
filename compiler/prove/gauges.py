"""The geometric measure of an expectation, prepared for one mesh: positions in, a figure for each frame out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from plica.evaluate.gather import skeleton_of
from plica.measure.model import Measured, Worsts, worst_of
from plica.mesh.model import Floats, Integers, Mesh
from plica.mesh.places import heaviest_joints
from plica.prove.preparations import Recall, computed
from plica.prove.results import WorstPlace, limit_of
from plica.rig.model import Expectation, RegionSet, Rig, SkinOf
from plica.skeleton.algebra import length, subtract

if TYPE_CHECKING:
    from plica.measure.stretch import Stretch, Stretched

Gauge = Callable[[Floats, Integers], Worsts]
"""Positions (frames, v, 3), and the first frames (runs,) of runs of them, to the worst figure of each run, in the
inside unit of the expectation."""


def together(gauges: Sequence[Gauge]) -> Callable[[Floats, Integers], list[Worsts]]:
    """All figures of some gauges at once; those about the deformation of the same triangles share the work."""

    def measured(positions: Floats, starts: Integers) -> list[Worsts]:
        shared: dict[int, Stretched] = {}
        found = []
        for gauge in gauges:
            if isinstance(gauge, _Deformation):
                key = id(gauge.stretch)
                if key not in shared:
                    shared[key] = gauge.stretch.worst(positions, starts)
                found.append(gauge.figure(shared[key]))
            else:
                found.append(gauge(positions, starts))
        return found

    return measured


class UnmeasurableError(Exception):
    """Why an expectation cannot be measured on this mesh. Never leaves this package."""


@dataclass(frozen=True, eq=False)
class Skin:
    """What is measured: the rig, its mesh, the weights of its regions, and the positions (v, 3) at rest.

    `recall` gives what is costly to prepare, maybe from a cache; `stretches` keeps what several expectations share,
    by region and uv set.
    """

    rig: Rig
    mesh: Mesh
    regions: Mapping[str, Floats]
    rest: Floats
    recall: Recall = computed
    stretches: dict[tuple[str, str | None], Stretch] = field(default_factory=dict)

    def gauge(self, expectation: Expectation) -> Gauge:
        """The measure of an expectation. Raises UnmeasurableError."""
        weights = [self._weights(name) for name in (*expectation.of, expectation.against) if name is not None]
        return _GAUGES[expectation.kind](self, expectation, weights)

    def _weights(self, region: str) -> Floats:
        weights = self.regions.get(region)
        if weights is None or not (weights > 0).any():
            raise UnmeasurableError(f"{region} covers nothing of the mesh")
        return weights

    def place(self, expectation: Expectation, vertex: int) -> WorstPlace:
        """Where a figure was found; for a figure of a whole region (vertex -1) the region's heaviest vertex."""
        region = expectation.of[0]
        known = vertex if vertex >= 0 else int(self.regions[region].argmax())
        joint = int(heaviest_joints(self.mesh)[known])
        name = self.rig.skeleton[joint].name if 0 <= joint < len(self.rig.skeleton) else ""
        x, y, z = self.mesh.positions[known].tolist()
        return WorstPlace(region, vertex, name, (x, y, z))

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
        while isinstance(source, RegionSet):
            source = regions[source.regions[0]].source
        if not isinstance(source, SkinOf):
            raise UnmeasurableError(f"{name} is not the skin of a joint, so it has no length to go along")
        return source.joints[0]


def _volume(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    from plica.measure.volume import Volume

    prepared = Volume.prepared(skin.mesh, weights[0], skin.rest)
    if not prepared.rest:
        raise UnmeasurableError(f"{expectation.of[0]} encloses nothing")
    return lambda positions, starts: worst_of(_either_way(prepared.relative(positions)), starts)


def _girth(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    from plica.measure.girth import Girth

    prepared = Girth.prepared(skin.mesh, weights[0], skin.rest, *skin.limb(expectation.of[0]))
    return lambda positions, starts: worst_of(_either_way(prepared.relative(positions)), starts)


def _stretching(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Stretch:
    """Against the surface at rest, or the texture layout that the expectation names; the same for all who ask."""
    from plica.measure.stretch import Stretch

    asked = (expectation.of[0], expectation.uv)
    if asked not in skin.stretches:
        if expectation.uv is None:
            skin.stretches[asked] = Stretch.on_surface(skin.mesh, weights[0], skin.rest)
        elif expectation.uv in skin.mesh.uvs:
            skin.stretches[asked] = Stretch.on_texture(skin.mesh, weights[0], skin.rest, expectation.uv)
        else:
            raise UnmeasurableError(f"the mesh has no uv set {expectation.uv}")
    return skin.stretches[asked]


def _stretch(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    """How much longer than in the reference in any direction."""
    return _Deformation(_stretching(skin, expectation, weights), _longer)


def _squeeze(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    """How much shorter than in the reference in any direction."""
    return _Deformation(_stretching(skin, expectation, weights), _shorter)


def _shear(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    return _Deformation(_stretching(skin, expectation, weights), lambda found: found.shear)


def _clearance(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    """Places nearer each other along the skin than `FOLD` times the limit do not count."""
    from plica.measure.apart import FOLD
    from plica.measure.clearance import Clearance

    limit = limit_of(expectation) or 0.0
    try:
        return Clearance.prepared(skin.mesh, weights[0], weights[1], skin.rest, FOLD * limit).worst
    except ValueError as error:
        raise UnmeasurableError(str(error)) from error


def _crossing(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    from plica.measure.crossing import Crossing

    try:
        prepared = skin.recall(Crossing, (weights[0],), lambda: Crossing.prepared(skin.mesh, skin.rest, weights[0]))
    except ValueError as error:
        raise UnmeasurableError(str(error)) from error
    return lambda positions, starts: worst_of(prepared.of(positions).measured, starts)


@dataclass(frozen=True, eq=False)
class _Deformation:
    """A figure of how triangles are deformed."""

    stretch: Stretch
    figure: Callable[[Stretched], Worsts]

    def __call__(self, positions: Floats, starts: Integers) -> Worsts:
        return self.figure(self.stretch.worst(positions, starts))


def _longer(found: Stretched) -> Worsts:
    return found.largest._replace(values=found.largest.values - 1.0)


def _shorter(found: Stretched) -> Worsts:
    return found.smallest._replace(values=1.0 - found.smallest.values)


def _either_way(measured: Measured) -> Measured:
    return Measured(np.abs(measured.values), measured.vertices)


_GAUGES: dict[str, Callable[[Skin, Expectation, list[Floats]], Gauge]] = {
    "volume": _volume,
    "girth": _girth,
    "stretch": _stretch,
    "squeeze": _squeeze,
    "shear": _shear,
    "clearance": _clearance,
    "crossing": _crossing,
}
