"""What breaks first: the skin near each joint, measured as its driver goes over its span.

A first look, a few poses of each joint, tells where the skin suffers. There a second look goes over the poses that
`plica prove` sweeps, with its own measures, so that the figures are those that it finds.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from plica.evaluate.poses import Poses, rest_poses
from plica.measure.pose_crossing import PoseCrossing
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.attach import Attached
from plica.mesh.cut_out import cut_out
from plica.mesh.deform import Deformer, Motion
from plica.mesh.joint_matrices import Kinematics
from plica.prove.pose_rows import finer
from plica.prove.skin import Skin, SkinGauge, UnmeasurableError
from plica.prove.sweeps import PoseTrack, Sweeper
from plica.rig.rig import Expectation, Rig
from plica.rig.strengths import Driver
from plica.start.skin_figures import MEASURED, BentSkin, SkinFigure, not_measured, stated_of

FIRST_STEPS: Final = 5
"""Poses of a joint in the first look."""
CROSSED_AT: Final = slice(2, None, 2)
"""Those in which crossings are looked for: half bent and wholly."""


def bent_skins(rig: Rig, attached: Attached, drivers: Sequence[tuple[str, str]]) -> tuple[BentSkin, ...]:
    """What the skin does over each driver, the worst first.

    drivers: declared names of a driver and of the region that it bends.
    Raises ValueError where the rig refers to something that it does not have.
    """
    measurer = _Measurer(rig, attached)
    found = [measurer.bent(driver, region) for driver, region in drivers]
    return tuple(sorted(found, key=lambda bent: (-bent.badness, bent.driver)))


class _Measurer:
    """Measures one mesh; what all joints share is prepared once."""

    def __init__(self, rig: Rig, attached: Attached) -> None:
        self._rig, self._attached = rig, attached
        self._kinematics = Kinematics(rig)
        self._first, self._second = Sweeper(rig, steps=FIRST_STEPS), Sweeper(rig)
        self._rest = self._skins(rest_poses(rig))
        self._drivers = [strength for strength in rig.strengths if isinstance(strength, Driver)]

    def bent(self, driver: str, region: str) -> BentSkin:
        """The worst of both sides."""
        regions = {one.side: one.name for one in self._rig.regions if one.declared == region}
        sides = [
            self._side(one.name, regions[one.side])
            for one in self._drivers
            if one.declared == driver and one.side in regions
        ]
        if not sides:
            return not_measured(driver, "no driver bends the region")
        return BentSkin(driver, tuple(_worse(figures) for figures in zip(*sides, strict=True)))

    def _side(self, driver: str, region: str) -> list[SkinFigure]:
        weights = self._attached.regions[region]
        if not (weights > 0.0).any():
            return list(not_measured(driver, "no skin follows the joint").figures)
        track = self._first.sweep(driver)
        patch = _Patch(self._rig, self._attached.mesh, weights, self._rest, region)
        positions = patch.positions(self._skins(track.poses))
        found = [patch.figure(kind, share, positions) for kind, share in MEASURED]
        found.append(patch.crossing(positions[CROSSED_AT]))
        return self._looked_closer(patch, driver, found) if any(figure.suffers for figure in found) else found

    def _looked_closer(self, patch: _Patch, driver: str, found: list[SkinFigure]) -> list[SkinFigure]:
        """With the figures that an expectation is to state, over the poses of a whole sweep."""
        track, stated = self._second.sweep(driver), stated_of(found)
        positions = patch.positions(self._skins(track.poses))
        shares = dict(MEASURED)
        return [
            self._closer(patch, figure.kind, shares[figure.kind], track, positions) if figure in stated else figure
            for figure in found
        ]

    def _closer(self, patch: _Patch, kind: str, share: float | None, track: PoseTrack, positions: Floats) -> SkinFigure:
        """The worst over a sweep, and between the neighbours of its worst pose."""
        whole = patch.figure(kind, share, positions)
        places = finer(track.places, whole.frame) if whole.worst is not None else np.zeros(0)
        if track.between is None or not len(places):
            return whole
        near = patch.figure(kind, share, patch.positions(self._skins(track.between(places))))
        return max(whole, near, key=lambda figure: figure.badness)

    def _skins(self, poses: Poses) -> Floats:
        return self._kinematics.skins(self._attached.mesh, poses)


class _Patch:
    """The part of the mesh that a region covers, and what measures it there."""

    def __init__(self, rig: Rig, mesh: Mesh, weights: Floats, rest: Floats, region: str) -> None:
        part, vertices = cut_out(mesh, weights)
        self._weights, self._region = weights[vertices], region
        self._bare = Deformer(part, rig, {})
        self._skin = Skin(rig, part, {region: self._weights}, self.positions(rest)[0])
        self._gauges: dict[str, SkinGauge] = {}

    def positions(self, skins: Floats) -> Floats:
        """(frames, v, 3) at skin matrices (frames, binds, 3, 4)."""
        blocks = self._bare.positions(Motion(np.zeros((len(skins), 0)), skins))
        whole = [block.positions for block in blocks]
        return whole[0] if len(whole) == 1 else np.concatenate(whole)

    def figure(self, kind: str, share: float | None, positions: Floats) -> SkinFigure:
        """The worst figure of a kind at positions (frames, v, 3)."""
        try:
            if kind not in self._gauges:
                self._gauges[kind] = self._skin.gauge(Expectation(kind, "none", (self._region,), share=share))
            worst = self._gauges[kind](positions, np.zeros(1, np.int64))
        except UnmeasurableError as error:
            return SkinFigure(kind, None, str(error))
        if not np.isfinite(worst.values[0]):
            return SkinFigure(kind, None, "it is not a number in some pose")
        return SkinFigure(kind, float(worst.values[0]), frame=int(worst.frames[0]))

    def crossing(self, positions: Floats) -> SkinFigure:
        """The most pairs of triangles of one surface that pass through each other."""
        try:
            prepared = PoseCrossing.prepared(self._skin.mesh, self._skin.rest, self._weights)
        except ValueError as error:
            return SkinFigure("crossing", None, str(error))
        return SkinFigure("crossing", float(max(len(prepared.pairs(pose)) for pose in positions)))


def _worse(figures: Sequence[SkinFigure]) -> SkinFigure:
    """The worse of the sides' figures; one that is missing on a side is missing."""
    missing = next((figure for figure in figures if figure.worst is None), None)
    return missing or max(figures, key=lambda figure: figure.badness)
