"""How near two regions come to each other, and where skin passes through itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from plica.kinds.expectations import EXPECTATION_KINDS
from plica.measure.clearance import Clearance
from plica.measure.crossing import Crossing
from plica.measure.rest_neighbours import FOLD
from plica.measure.worst_values import worst_of
from plica.mesh.arrays import Floats
from plica.prove.registry import Measure, SkinMeasure
from plica.prove.skin import Skin, SkinGauge, UnmeasurableError
from plica.rig.expectations import cut_border, limit_of
from plica.rig.rig import Expectation


def _clearance(skin: Skin, expectation: Expectation, weights: list[Floats]) -> SkinGauge:
    """Places nearer each other along the skin than `FOLD` times the limit do not count.

    Such ways may lead over skin between the regions, so it is prepared on all of the skin.
    """
    limit, border = limit_of(expectation) or 0.0, cut_border(expectation)
    whole = skin.whole or skin
    one, other = (weights if skin.whole is None else whole.weights_of(expectation))[:2]
    try:
        prepared = Clearance.prepared(whole.mesh, one, other, whole.rest, FOLD * limit, border)
    except ValueError as error:
        raise UnmeasurableError(str(error)) from error
    if prepared.leaves_all_out:
        raise UnmeasurableError(
            f"no place of one is farther from the other along the skin than {FOLD:g} times the limit, and nearer ones "
            "do not count"
        )
    return prepared.worst if skin.vertices is None else prepared.on(skin.vertices).worst


def _crossing(skin: Skin, expectation: Expectation, weights: list[Floats]) -> SkinGauge:
    try:
        prepared = Crossing.prepared(skin.mesh, skin.rest, weights[0], cut_border(expectation))
    except ValueError as error:
        raise UnmeasurableError(str(error)) from error
    return lambda positions, starts: worst_of(prepared.of(positions).measured, starts)


def _crossing_heat(skin: Skin, expectation: Expectation, weights: list[Floats]) -> Callable[[Floats], Floats]:
    crossing = Crossing.prepared(skin.mesh, skin.rest, weights[0], cut_border(expectation))

    def hot(positions: Floats) -> Floats:
        result = np.zeros(len(skin.mesh.triangles))
        result[crossing.of(positions[None]).triangles.reshape(-1)] = 1.0
        return result

    return hot


MEASURES: Final[tuple[Measure, ...]] = (
    SkinMeasure(EXPECTATION_KINDS["clearance"], _clearance),
    SkinMeasure(EXPECTATION_KINDS["crossing"], _crossing, _crossing_heat, "skin that crosses skin"),
)
