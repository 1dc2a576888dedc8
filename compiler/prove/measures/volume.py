"""The volume that a region encloses, and how thick a limb is: shares of what they are at rest."""

from __future__ import annotations

from typing import Final

from plica.kinds.expectations import EXPECTATION_KINDS, Worse
from plica.measure.girth import Girth
from plica.measure.volume import Volume
from plica.measure.worst_values import worst_of
from plica.mesh.arrays import Floats
from plica.prove.registry import Measure, SkinMeasure
from plica.prove.skin import Skin, SkinGauge, UnmeasurableError
from plica.rig.expectations import border_of
from plica.rig.rig import Expectation


def _volume(skin: Skin, expectation: Expectation, weights: list[Floats]) -> SkinGauge:
    prepared = Volume.prepared(skin.mesh, weights[0], skin.rest, border_of(expectation))
    if not prepared.rest:
        raise UnmeasurableError(f"{expectation.of[0]} encloses nothing")
    return lambda positions, starts: worst_of(prepared.relative(positions), starts, Worse.FURTHER)


def _girth(skin: Skin, expectation: Expectation, weights: list[Floats]) -> SkinGauge:
    start, end = skin.limb(expectation.of[0])
    prepared = Girth.prepared(skin.mesh, weights[0], skin.rest, start, end, border=border_of(expectation))
    return lambda positions, starts: worst_of(prepared.relative(positions), starts, Worse.FURTHER)


MEASURES: Final[tuple[Measure, ...]] = (
    SkinMeasure(EXPECTATION_KINDS["volume"], _volume),
    SkinMeasure(EXPECTATION_KINDS["girth"], _girth),
)
