"""The poses that a reader of the page can jump to: declared ones, and where each expectation is worst."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Final

import numpy as np

from plica.evaluate.poses import SparsePose, plain_pose, poses_from, rest_poses
from plica.kinds.expectations import BORDER, expectation_kind
from plica.measure.pose_crossing import PoseCrossing
from plica.mesh.arrays import Floats
from plica.mesh.attach import Attached
from plica.mesh.deform import Deformer
from plica.prove.pose_rows import sparse_poses
from plica.prove.report.summary import figure, pose
from plica.prove.results import Result
from plica.prove.sweeps import PoseTrack
from plica.rig.entry_text import posed_text
from plica.rig.rig import Expectation, Rig
from plica.sheet.array_pack import ArrayPack
from plica.sheet.record import PlaceData

MOST_CROSSINGS: Final = 24
"""Worst poses in which the page shows what passes through itself; more would take too long."""


def declared_places(rig: Rig, tracks: Mapping[str, PoseTrack], blocks: Mapping[str, str]) -> list[PlaceData]:
    """The poses that the spec declares."""
    result = []
    for entry in rig.poses:
        if entry.name in tracks:
            (sparse,) = sparse_poses(rig, tracks[entry.name].poses)
            said = ", ".join(posed_text(item) for item in entry.items)
            result.append(PlaceData("pose", entry.name, said, plain_pose(sparse), -1, blocks.get(entry.name, ""), ""))
    return result


def worst_places(rig: Rig, attached: Attached | None, results: Sequence[Result], pack: ArrayPack) -> list[PlaceData]:
    """Where expectations are worst, what fails first; in many of these poses what passes through
    itself is looked for."""
    found = [one for one in results if one.frame is not None and one.frame.kind != "rest"]
    found.sort(key=lambda one: (one.status != "fails", one.index))
    crossings = _Crossings(rig, attached, pack)
    return [
        PlaceData(
            "worst",
            one.title,
            f"{figure(one, one.worst)} at {pose(one.frame)}",
            plain_pose(one.frame.pose),
            -1 if one.place is None else one.place.vertex,
            f"expect-{one.index}",
            crossings.name_of(one.expectation, one.frame.pose),
        )
        for one in found
        if one.frame is not None
    ]


class _Crossings:
    """Looks for triangles that pass through each other in the regions that an expectation is about."""

    def __init__(self, rig: Rig, attached: Attached | None, pack: ArrayPack) -> None:
        self._rig, self._attached, self._pack = rig, attached, pack
        self._looked = 0
        self._regions: dict[tuple[str, ...], PoseCrossing] = {}

    @cached_property
    def _deformer(self) -> Deformer:
        assert self._attached is not None
        return Deformer(self._attached.mesh, self._rig, self._attached.shapes)

    @cached_property
    def _rest(self) -> Floats:
        return np.asarray(next(self._deformer.positions(rest_poses(self._rig))).positions[0])

    def name_of(self, expectation: Expectation, pose: SparsePose) -> str:
        """The array with the vertices of such triangles; "" where nobody looked."""
        if self._attached is None or expectation_kind(expectation.kind).about != "region":
            return ""
        asked = (*expectation.of, *(() if expectation.against is None else (expectation.against,)))
        names = tuple(name for name in asked if name in self._attached.regions)
        if not names or self._looked >= MOST_CROSSINGS:
            return ""
        mesh = self._attached.mesh
        try:
            measure = self._measure(names)
        except ValueError:  # the region has no triangles of its own
            return ""
        positions = next(self._deformer.positions(poses_from(self._rig, [pose]))).positions[0]
        pairs = measure.pairs(positions)
        vertices = np.unique(mesh.triangles[np.unique(pairs)]) if len(pairs) else np.zeros(0, np.int64)
        name = f"crossing {self._looked}"
        self._looked += 1
        self._pack.add(name, vertices.astype(np.uint32))
        return name

    def _measure(self, names: tuple[str, ...]) -> PoseCrossing:
        """Raises ValueError for regions without triangles."""
        assert self._attached is not None
        if names not in self._regions:
            weights = np.maximum.reduce([self._attached.regions[name] for name in names])
            self._regions[names] = PoseCrossing.prepared(self._attached.mesh, self._rest, weights, BORDER)
        return self._regions[names]
