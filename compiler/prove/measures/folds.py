"""Expectations of folds: the memory that masks take, and masks that show together on the same skin."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from plica.kinds.expectations import EXPECTATION_KINDS
from plica.mesh.vertex_places import heaviest_joints
from plica.prove.proof import Proof
from plica.prove.registry import DirectMeasure, Measure
from plica.prove.results import NO_MESH, Result, WorstPlace, judged, not_measured
from plica.prove.sweeps import PoseTrack
from plica.prove.worst_frames import worst_frame
from plica.rig.rig import Expectation

if TYPE_CHECKING:
    from plica.mesh.arrays import Floats
    from plica.texture.overlap import FoldCover

NO_FOLDS: Final = "there are no folds"


def _budget(proof: Proof, index: int, expectation: Expectation) -> Result:
    """Every detail's textures, with their mip levels, fit its budget.

    The figure is that of the detail which uses the largest share of its budget, the limit that budget.
    """
    from plica.texture.budgets import detail_memory

    if not any(detail.budget is not None for detail in proof.rig.details):
        return not_measured(index, expectation, "no detail states a budget")
    if proof.attached is None:
        return not_measured(index, expectation, NO_MESH)
    if isinstance(proof.masks, str):
        return not_measured(index, expectation, proof.masks)
    stated = [known for known in detail_memory(proof.rig, proof.masks) if known.budget is not None]
    worst = max(stated, key=lambda known: known.used / (known.budget or 1.0))
    return judged(index, expectation, float(worst.used), limit=worst.budget, about=worst.detail)


def _overlap(proof: Proof, index: int, expectation: Expectation) -> Result:
    """The largest sum, over the skin and over all poses, of each mask of a detail times its strength."""
    from plica.texture.overlap import fold_cover

    detail = expectation.of[0]
    if not any(fold.detail == detail for fold in proof.rig.folds):
        return not_measured(index, expectation, NO_FOLDS)
    if proof.attached is None:
        return not_measured(index, expectation, NO_MESH)
    if isinstance(proof.masks, str):
        return not_measured(index, expectation, proof.masks)
    return _largest_sum(proof, index, expectation, fold_cover(proof.rig, proof.masks, detail))


def _largest_sum(proof: Proof, index: int, expectation: Expectation, cover: FoldCover) -> Result:
    from plica.texture.overlap import greatest_sums

    worst, vertex, strengths = 0.0, -1, np.zeros(len(cover.folds))
    place: tuple[PoseTrack, int] | None = None
    tracks = proof.tracks(expectation)
    for track in tracks:
        table = _strengths_of(proof, track, cover)
        result = greatest_sums(cover, table)
        at = int(result.sums.argmax()) if len(result.sums) else -1
        if at >= 0 and float(result.sums[at]) > worst:
            worst, vertex = float(result.sums[at]), int(result.vertices[at])
            place, strengths = (track, at), table[at]
    frames = sum(track.poses.frames for track in tracks)
    if place is None:
        return judged(index, expectation, worst, frames=frames, about="no two folds lie over each other")
    return judged(
        index,
        expectation,
        worst,
        frames=frames,
        frame=worst_frame(proof.rig, *place),
        place=_place(proof, vertex),
        about=_parts(cover, strengths, vertex),
    )


def _strengths_of(proof: Proof, track: PoseTrack, cover: FoldCover) -> Floats:
    """The strength of each fold in each pose of a track, (frames, folds)."""
    table = proof.evaluator.strengths(track.poses)
    result = np.zeros((len(table), len(cover.folds)))
    for number, strength in enumerate(cover.follows):
        if strength is not None:
            result[:, number] = table[:, proof.columns[strength]]
    return result


def _parts(cover: FoldCover, strengths: Floats, vertex: int) -> str:
    """The folds that make up the sum at a vertex, the greatest part first."""
    rows = np.flatnonzero(cover.vertices == vertex)
    sums = cover.weights[rows] * strengths
    parts = sums[int(sums.sum(axis=1).argmax())] if len(rows) else strengths
    order = np.argsort(-parts, kind="stable")
    return " and ".join(f"{cover.folds[fold]} {parts[fold]:.2f}" for fold in order if parts[fold] > 0.0)


def _place(proof: Proof, vertex: int) -> WorstPlace | None:
    if vertex < 0:
        return None
    assert proof.attached is not None
    mesh = proof.attached.mesh
    joint = int(heaviest_joints(mesh)[vertex])
    name = proof.rig.skeleton[joint].name if 0 <= joint < len(proof.rig.skeleton) else ""
    x, y, z = mesh.positions[vertex].tolist()
    return WorstPlace("", vertex, name, (x, y, z))


MEASURES: Final[tuple[Measure, ...]] = (
    DirectMeasure(EXPECTATION_KINDS["budget"], _budget),
    DirectMeasure(EXPECTATION_KINDS["overlap"], _overlap),
)
