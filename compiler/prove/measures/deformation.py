"""How triangles of the skin are stretched, squeezed and sheared."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from plica.kinds.expectations import EXPECTATION_KINDS
from plica.measure.area_shares import areas_of, kept_to
from plica.measure.region_faces import counted_shares
from plica.measure.stretch import Stretch, Stretched
from plica.measure.structure_of_arrays import frame_pieces
from plica.measure.worst_values import FrameValues, WorstValues, worst_of
from plica.mesh.arrays import Floats
from plica.prove.registry import Measure, SkinMeasure
from plica.prove.skin import DeformationGauge, Skin, SkinGauge
from plica.rig.expectations import border_of, limit_of
from plica.rig.rig import Expectation

Each = tuple[Floats, Floats, Floats]
"""Of every triangle (t, ...): the largest and the smallest singular value, and the sine of the shear."""
_ROWS: Final = 1 << 12  # triangles that are worked on at once
LEGEND: Final = "at {limit} or beyond"


def _longer(result: Stretched) -> WorstValues:
    """How much longer than in the reference in any direction."""
    return result.largest._replace(values=result.largest.values - 1.0)


def _shorter(result: Stretched) -> WorstValues:
    """How much shorter than in the reference in any direction."""
    return result.smallest._replace(values=1.0 - result.smallest.values)


def _measure(kind: str, worst: Callable[[Stretched], WorstValues], each: Callable[[Each], Floats]) -> SkinMeasure:
    def prepare(skin: Skin, expectation: Expectation, weights: list[Floats]) -> SkinGauge:
        stretch = skin.stretching(expectation, weights[0])
        if expectation.share is None:
            return DeformationGauge(stretch, worst)
        areas, share = _areas(skin, expectation, weights, stretch), expectation.share
        return lambda positions, starts: worst_of(_on_share(stretch, each, areas, share, positions), starts)

    def heat(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Callable[[Floats], Floats]:
        stretch = skin.stretching(expectation, weights[0])
        limit = limit_of(expectation) or 1.0

        def hot(positions: Floats) -> Floats:
            result = np.zeros(len(skin.mesh.triangles))
            result[stretch.numbers] = each(stretch.each(positions)) / limit
            return result

        return hot

    def spread(
        skin: Skin, expectation: Expectation, weights: list[Floats]
    ) -> Callable[[Floats], tuple[Floats, Floats]]:
        of_area = expectation._replace(share=expectation.share or 1.0)
        stretch = skin.stretching(of_area, weights[0])
        areas = _areas(skin, of_area, weights, stretch)
        return lambda positions: (each(stretch.each(positions)), areas)

    return SkinMeasure(EXPECTATION_KINDS[kind], prepare, heat, LEGEND, spread)


def _areas(skin: Skin, expectation: Expectation, weights: list[Floats], stretch: Stretch) -> Floats:
    """How much of the region's area each triangle (t,) is in the neutral stance, by weight or cut at a border."""
    shares = counted_shares(skin.mesh, weights[0], border_of(expectation))[stretch.numbers]
    return shares * areas_of(skin.rest[stretch.vertices[stretch.corners]])


def _on_share(
    stretch: Stretch, each: Callable[[Each], Floats], areas: Floats, share: float, positions: Floats
) -> FrameValues:
    """The figure that this share of the area keeps to in each frame."""
    values, vertices = np.zeros(len(positions)), np.full(len(positions), -1)
    for piece in frame_pieces(len(positions)) if len(areas) else ():
        values[piece], rows = kept_to(_of_all(stretch, each, positions[piece]), areas, share)
        vertices[piece] = np.where(rows >= 0, stretch.named[rows], -1)
    return FrameValues(values, vertices)


def _of_all(stretch: Stretch, each: Callable[[Each], Floats], positions: Floats) -> Floats:
    """The figures of all triangles in all frames (t, frames), worked out for some triangles at a time."""
    result = np.empty((len(stretch.corners), len(positions)))
    for start in range(0, len(result), _ROWS):
        rows = np.arange(start, min(start + _ROWS, len(result)))
        result[rows] = each(stretch.each_in(positions, rows))
    return result


MEASURES: Final[tuple[Measure, ...]] = (
    _measure("stretch", _longer, lambda each: each[0] - 1.0),
    _measure("squeeze", _shorter, lambda each: 1.0 - each[1]),
    _measure("shear", lambda found: found.shear, lambda each: np.arcsin(np.minimum(each[2], 1.0))),
)
