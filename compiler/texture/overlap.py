"""Folds that are on together over each other: where their masks, each times its strength, sum over 1.

The factor is clamped there, so that one fold's fading shows nothing while another is on. Sums are taken at the measured
points of the skin (`plica.texture.skin_points`), from masks of full size before rounding, so folds may be over
different uv sets, and what a smaller mask is off by does not count as overlap.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from plica.diagnostics import Diagnostics
from plica.kinds.expectations import MASK_ROUNDING
from plica.mesh.arrays import Floats, Integers
from plica.mesh.attach import Attached, SpanOf
from plica.mesh.vertex_places import heaviest_joints
from plica.quantities import percent
from plica.rig.rig import Rig
from plica.texture.co_activation import Alternatives, independent_alternatives
from plica.texture.mask_set import MaskSet
from plica.texture.raster import Singles

_SUMS_AT_ONCE: Final = 1 << 22


@dataclass(frozen=True, eq=False)
class FoldCover:
    """A detail's folds at the places of the skin where more than one of them lies.

    folds: f names, in the rig's order, and the strength that each follows; weights (n, f): their masks, 0 to 1;
    vertices (n,): the vertex nearest to each place; measured: places looked at, those of one fold or none included.
    """

    folds: tuple[str, ...]
    follows: tuple[str | None, ...]
    weights: Singles
    vertices: Integers
    measured: int

    def strengths(self, poses: Iterable[Mapping[str, float]]) -> Floats:
        """The strengths (p, f) of the folds in poses, each given by strength; what is not given is 0."""
        rows = [[0.0 if name is None else pose.get(name, 0.0) for name in self.follows] for pose in poses]
        return np.array(rows, dtype=np.float64).reshape(len(rows), len(self.folds))


class GreatestSums(NamedTuple):
    """For each of p poses the greatest sum of mask times strength, and at which vertex.

    Where no two folds lie over each other sums are 0 and vertices -1.
    """

    sums: Floats
    vertices: Integers


class Overlap(NamedTuple):
    """Folds over each other.

    worst: the greatest sum of mask times strength, at `vertex`; share: of the places measured, those whose sum can be
    over 1; folds: those that make up the worst sum, the greatest part first.
    """

    worst: float
    vertex: int
    share: float
    folds: tuple[str, ...]


def fold_cover(rig: Rig, masks: MaskSet, detail: str) -> FoldCover:
    """The folds of a detail where they lie over each other."""
    folds = [fold for fold in rig.folds if fold.detail == detail and fold.name in masks.masks]
    names, follows = tuple(fold.name for fold in folds), tuple(fold.follows for fold in folds)
    measured = len(masks.vertices)
    weights = np.zeros((measured, len(folds)), np.float32)
    for column, fold in enumerate(folds):
        weights[:, column] = masks.masks[fold.name].sized.on_skin
    crowded = np.flatnonzero((weights > 0.0).sum(axis=1) > 1)
    return FoldCover(names, follows, weights[crowded], masks.vertices[crowded], measured)


def greatest_sums(cover: FoldCover, strengths: Floats) -> GreatestSums:
    """The greatest sum in each pose; strengths (p, f), columns in the order of `cover.folds`.

    Places of a single fold are left out: with strengths of at most 1 they cannot be over 1.
    """
    count, places = len(strengths), len(cover.weights)
    sums, vertices = np.zeros(count), np.full(count, -1, dtype=np.int64)
    if not places:
        return GreatestSums(sums, vertices)
    weights = cover.weights.astype(np.float64)
    step = max(1, _SUMS_AT_ONCE // places)
    for start in range(0, count, step):
        block = strengths[start : start + step] @ weights.T
        where = block.argmax(axis=1)
        sums[start : start + step] = block[np.arange(len(block)), where]
        vertices[start : start + step] = cover.vertices[where]
    return GreatestSums(sums, vertices)


def possible_overlap(cover: FoldCover, groups: Iterable[Alternatives], limit: float = 1.0) -> Overlap | None:
    """Where folds can sum over the limit, if independent sources do their worst at every place; None if nowhere."""
    if not len(cover.weights):
        return None
    weights = cover.weights.astype(np.float64)
    sums = np.zeros(len(weights))
    parts = np.zeros_like(weights)
    rows = np.arange(len(weights))
    for alternatives in groups:
        strengths = np.unique(cover.strengths(alternatives), axis=0)
        concerned = np.flatnonzero(strengths.any(axis=0))
        if not len(concerned):
            continue
        result = weights[:, concerned] @ strengths[:, concerned].T
        best = result.argmax(axis=1)
        sums += result[rows, best]
        parts[:, concerned] += weights[:, concerned] * strengths[best][:, concerned]
    worst = int(sums.argmax())
    if sums[worst] <= limit + MASK_ROUNDING:
        return None
    order = sorted(range(len(cover.folds)), key=lambda column: (-parts[worst, column], column))
    folds = tuple(cover.folds[column] for column in order if parts[worst, column] > 0.0)
    share = float((sums > limit + MASK_ROUNDING).sum()) / cover.measured
    return Overlap(float(sums[worst]), int(cover.vertices[worst]), share, folds)


def tell_overlaps(rig: Rig, attached: Attached, masks: MaskSet, diagnostics: Diagnostics, span_of: SpanOf) -> None:
    """A warning for each detail whose folds can sum over 1."""
    groups = independent_alternatives(rig)
    for detail in rig.details:
        overlap = possible_overlap(fold_cover(rig, masks, detail.name), groups)
        if overlap is None:
            continue
        joint = int(heaviest_joints(attached.mesh)[overlap.vertex])
        diagnostics.add(
            "folds-overlap",
            span_of("detail", detail.name),
            detail=detail.name,
            folds=", ".join(f"`{name}`" for name in overlap.folds),
            sum=f"{overlap.worst:.2f}",
            share=percent(overlap.share),
            place=f"vertex {overlap.vertex}" + (f", near {rig.skeleton[joint].name}" if joint >= 0 else ""),
        )
