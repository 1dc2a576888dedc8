"""How triangles of the skin are stretched, squeezed and sheared."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from plica.kinds.expectations import EXPECTATION_KINDS
from plica.measure.stretch import Stretched
from plica.measure.worst_values import WorstValues
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.prove.registry import Measure, Prepare, SkinMeasure
from plica.prove.skin import DeformationGauge, Skin, SkinGauge
from plica.rig.expectations import limit_of
from plica.rig.rig import Expectation

Each = tuple[Floats, Floats, Floats]
"""Of every triangle (t,): the largest and the smallest singular value, and the sine of the shear."""
LEGEND: Final = "at {limit} or beyond"


def _longer(result: Stretched) -> WorstValues:
    """How much longer than in the reference in any direction."""
    return result.largest._replace(values=result.largest.values - 1.0)


def _shorter(result: Stretched) -> WorstValues:
    """How much shorter than in the reference in any direction."""
    return result.smallest._replace(values=1.0 - result.smallest.values)


def _prepared(figure: Callable[[Stretched], WorstValues]) -> Prepare:
    def prepare(skin: Skin, expectation: Expectation, weights: list[Floats]) -> SkinGauge:
        return DeformationGauge(skin.stretching(expectation, weights[0]), figure)

    return prepare


def _measure(kind: str, worst: Callable[[Stretched], WorstValues], each: Callable[[Each], Floats]) -> SkinMeasure:
    def heat(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Callable[[Floats], Floats]:
        stretch = skin.stretching(expectation, weights[0])
        limit = limit_of(expectation) or 1.0
        numbers = numbers_of(skin.mesh, stretch.vertices[stretch.corners])

        def hot(positions: Floats) -> Floats:
            result = np.zeros(len(skin.mesh.triangles))
            result[numbers] = each(stretch.each(positions)) / limit
            return result

        return hot

    return SkinMeasure(EXPECTATION_KINDS[kind], _prepared(worst), heat, LEGEND)


def numbers_of(mesh: Mesh, corners: Integers) -> Integers:
    """The mesh's triangles that stand on these welded corners (t, 3), given as vertices."""
    count = mesh.point_count
    keys, wanted = (
        (points[:, 0] * count + points[:, 1]) * count + points[:, 2]
        for points in (mesh.points[mesh.triangles], mesh.points[corners])
    )
    order = np.argsort(keys, kind="stable")
    return np.asarray(order[np.searchsorted(keys, wanted, sorter=order)])


MEASURES: Final[tuple[Measure, ...]] = (
    _measure("stretch", _longer, lambda each: each[0] - 1.0),
    _measure("squeeze", _shorter, lambda each: 1.0 - each[1]),
    _measure("shear", lambda found: found.shear, lambda each: np.arcsin(np.minimum(each[2], 1.0))),
)
