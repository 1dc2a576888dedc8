"""Expectations of folds: the memory that masks take, and masks that show together on the same skin."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from plica.diagnostics import Diagnostics
from plica.diagnostics.record import Severity
from plica.evaluate.evaluator import Evaluator
from plica.mesh.places import heaviest_joints
from plica.prove.frames import worst_frame
from plica.prove.results import Result, WorstPlace, judged, not_measured
from plica.prove.sweeps import Track
from plica.rig.model import Expectation, Rig

if TYPE_CHECKING:
    from plica.mesh.attach import Attached
    from plica.mesh.model import Floats
    from plica.mesh.region_sources import Read
    from plica.texture.model import MaskSet
    from plica.texture.overlap import FoldCover

NO_FOLDS: Final = "there are no folds"


class Folds:
    """A rig's folds, measured; its masks are made when they are first needed, and once."""

    def __init__(self, rig: Rig, attached: Attached, read: Read | None) -> None:
        """`read` gives the files that the spec names; None where there are none to be read.

        Raises ValueError where the rig refers to something that it does not have.
        """
        self._rig, self._attached, self._read = rig, attached, read
        self._evaluator = Evaluator(rig)
        self._told = Diagnostics()

    @cached_property
    def _masks(self) -> MaskSet | None:
        from plica.texture.masks import masks_of

        return None if self._read is None else masks_of(self._rig, self._attached, self._read, self._told)

    def budget(self, index: int, expectation: Expectation) -> Result:
        """Every detail's textures, with their mip levels, fit its budget.

        The figure is that of the detail which uses the largest share of its budget, the limit that budget.
        """
        from plica.texture.budgets import detail_memory

        if not any(detail.budget is not None for detail in self._rig.details):
            return not_measured(index, expectation, "no detail states a budget")
        if self._masks is None:
            return not_measured(index, expectation, self._why())
        stated = [known for known in detail_memory(self._rig, self._masks) if known.budget is not None]
        worst = max(stated, key=lambda known: known.used / (known.budget or 1.0))
        return judged(index, expectation, float(worst.used), limit=worst.budget, about=worst.detail)

    def overlap(self, index: int, expectation: Expectation, tracks: Sequence[Track]) -> Result:
        """The largest sum, over the skin and over all poses, of each mask of a detail times its strength."""
        from plica.texture.overlap import fold_cover

        detail = expectation.of[0]
        if not any(fold.detail == detail for fold in self._rig.folds):
            return not_measured(index, expectation, NO_FOLDS)
        if self._masks is None:
            return not_measured(index, expectation, self._why())
        return self._overlap(index, expectation, tracks, fold_cover(self._rig, self._masks, detail))

    def _overlap(self, index: int, expectation: Expectation, tracks: Sequence[Track], cover: FoldCover) -> Result:
        from plica.texture.overlap import greatest_sums

        worst, vertex, strengths = 0.0, -1, np.zeros(len(cover.folds))
        place: tuple[Track, int] | None = None
        for track in tracks:
            table = self._strengths_of(track, cover)
            found = greatest_sums(cover, table)
            at = int(found.sums.argmax()) if len(found.sums) else -1
            if at >= 0 and float(found.sums[at]) > worst:
                worst, vertex = float(found.sums[at]), int(found.vertices[at])
                place, strengths = (track, at), table[at]
        frames = sum(track.poses.frames for track in tracks)
        if place is None:
            return judged(index, expectation, worst, frames=frames, about="no two folds lie over each other")
        return judged(
            index,
            expectation,
            worst,
            frames=frames,
            frame=worst_frame(self._rig, *place),
            place=self._place(vertex),
            about=self._parts(cover, strengths, vertex),
        )

    def _strengths_of(self, track: Track, cover: FoldCover) -> Floats:
        """The strength of each fold in each pose of a track, (frames, folds)."""
        columns = {name: column for column, name in enumerate(self._evaluator.names)}
        table = self._evaluator.strengths(track.poses)
        found = np.zeros((len(table), len(cover.folds)))
        for number, strength in enumerate(cover.follows):
            if strength is not None:
                found[:, number] = table[:, columns[strength]]
        return found

    def _parts(self, cover: FoldCover, strengths: Floats, vertex: int) -> str:
        """The folds that make up the sum at a vertex, the greatest part first."""
        rows = np.flatnonzero(cover.vertices == vertex)
        sums = cover.weights[rows] * strengths
        parts = sums[int(sums.sum(axis=1).argmax())] if len(rows) else strengths
        order = np.argsort(-parts, kind="stable")
        return " and ".join(f"{cover.folds[fold]} {parts[fold]:.2f}" for fold in order if parts[fold] > 0.0)

    def _place(self, vertex: int) -> WorstPlace | None:
        if vertex < 0:
            return None
        mesh = self._attached.mesh
        joint = int(heaviest_joints(mesh)[vertex])
        name = self._rig.skeleton[joint].name if 0 <= joint < len(self._rig.skeleton) else ""
        x, y, z = mesh.positions[vertex].tolist()
        return WorstPlace("", vertex, name, (x, y, z))

    def _why(self) -> str:
        """Why there are no masks."""
        errors = [one.message for one in self._told.all if one.severity is Severity.ERROR]
        return errors[0] if errors else "the files of the masks cannot be read"
