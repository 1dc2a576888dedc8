"""The geometric measure of an expectation, prepared for one mesh: positions in, a figure for each frame out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from plica.evaluate.gather import skeleton_of
from plica.measure.model import Measured
from plica.mesh.model import Floats, Mesh
from plica.mesh.places import heaviest_joints
from plica.prove.results import WorstPlace
from plica.rig.model import Expectation, RegionSet, Rig, SkinOf
from plica.skeleton.algebra import length, subtract

Gauge = Callable[[Floats], Measured]
"""Positions (frames, v, 3) to figures in the inside unit of the expectation."""


class UnmeasurableError(Exception):
    """Why an expectation cannot be measured on this mesh. Never leaves this package."""


@dataclass(frozen=True, eq=False)
class Skin:
    """What is measured: the rig, its mesh, the weights of its regions, and the positions (v, 3) at rest."""

    rig: Rig
    mesh: Mesh
    regions: Mapping[str, Floats]
    rest: Floats

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
    return lambda positions: _either_way(prepared.relative(positions))


def _girth(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    from plica.measure.girth import Girth

    prepared = Girth.prepared(skin.mesh, weights[0], skin.rest, *skin.limb(expectation.of[0]))
    return lambda positions: _either_way(prepared.relative(positions))


def _stretch(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    from plica.measure.stretch import Stretch

    prepared = Stretch.on_surface(skin.mesh, weights[0], skin.rest)

    def of(positions: Floats) -> Measured:
        """How much longer than at rest in any direction; the vertices are those of the longest triangles."""
        longer = prepared.of(positions).largest - 1.0
        vertices = np.full(len(longer), -1)
        worst = int(longer.argmax())
        if len(prepared.corners):
            sizes, _ = prepared.each(positions[worst : worst + 1])
            vertices[worst] = prepared.vertices[prepared.corners[sizes[0].argmax(), 0]]
        return Measured(longer, vertices)

    return of


def _shear(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    from plica.measure.stretch import Stretch

    prepared = Stretch.on_surface(skin.mesh, weights[0], skin.rest)
    return lambda positions: prepared.of(positions).shear


def _clearance(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    from plica.measure.clearance import Clearance

    try:
        return Clearance.prepared(skin.mesh, weights[0], weights[1], skin.rest).of
    except ValueError as error:
        raise UnmeasurableError(str(error)) from error


def _crossing(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Gauge:
    from plica.measure.crossing import Crossing

    try:
        prepared = Crossing.prepared(skin.mesh, skin.rest, weights[0])
    except ValueError as error:
        raise UnmeasurableError(str(error)) from error
    return lambda positions: prepared.of(positions).measured


def _either_way(measured: Measured) -> Measured:
    return Measured(np.abs(measured.values), measured.vertices)


_GAUGES: dict[str, Callable[[Skin, Expectation, list[Floats]], Gauge]] = {
    "volume": _volume,
    "girth": _girth,
    "stretch": _stretch,
    "shear": _shear,
    "clearance": _clearance,
    "crossing": _crossing,
}
