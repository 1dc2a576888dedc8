"""Which strengths can be on at once, as far as that can be told without posing the skeleton.

What a pose makes of two different readings is taken to be independent, because joints and controls are; strengths that
come from one reading depend on each other, such as two drivers on either side of rest, and so do a field's samples. A
combination of several readings can be on whenever its parts are, as no way to combine falls when a part rises.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from plica.evaluate.curves import curve_values
from plica.kinds.readings import Reading, kind_of
from plica.rig.combinations import combined, parts_of
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Driver, Sample

Alternatives = tuple[Mapping[str, float], ...]
"""Strengths that one source can give, by name: one of them at a time."""

_SAMPLES: Final = 17
"""Readings tried from the least to the greatest that any span begins or ends with."""


def independent_alternatives(rig: Rig) -> tuple[Alternatives, ...]:
    """For each source that a pose sets by itself, what it can make of the strengths that hang on it alone."""
    sources = _sources(rig)
    groups: dict[object, list[str]] = {}
    for strength in rig.strengths:
        own = sources[strength.name]
        key = next(iter(own)) if len(own) == 1 else strength.name
        groups.setdefault(key, []).append(strength.name)
    return tuple(_alternatives(rig, names) for names in groups.values())


def _sources(rig: Rig) -> dict[str, frozenset[object]]:
    """The readings and fields that each strength is made of."""
    result: dict[str, frozenset[object]] = {}
    for strength in rig.strengths:
        if isinstance(strength, Driver):
            result[strength.name] = frozenset([_unsigned(strength.reading)[0]])
        elif isinstance(strength, Sample):
            result[strength.name] = frozenset([strength.field])
        else:
            result[strength.name] = frozenset().union(*(result[part] for part in parts_of(strength.combination)))
    return result


def _alternatives(rig: Rig, names: list[str]) -> Alternatives:
    strengths = {strength.name: strength for strength in rig.strengths if strength.name in names}
    drivers = [strength for strength in strengths.values() if isinstance(strength, Driver)]
    samples = [strength.name for strength in strengths.values() if isinstance(strength, Sample)]
    combines = [strength for strength in strengths.values() if isinstance(strength, Combine)]
    if not drivers and not samples:
        return (dict.fromkeys(names, 1.0),)
    result = [{name: 1.0} for name in samples] or [*_of_drivers(drivers)]
    for one in result:
        for combine in combines:
            one[combine.name] = combined(combine.combination, one)
    return tuple(result)


def _of_drivers(drivers: list[Driver]) -> Iterator[dict[str, float]]:
    """What drivers of one reading, but for its sign, give from the least end of a span to the greatest."""
    ends = sorted({end * _unsigned(driver.reading)[1] for driver in drivers for end in driver.span})
    for reading in sorted({*ends, *np.linspace(ends[0], ends[-1], _SAMPLES).tolist()}):
        result = {}
        for driver in drivers:
            start, stop = driver.span
            share = (reading * _unsigned(driver.reading)[1] - start) / (stop - start)
            result[driver.name] = float(curve_values(driver.curve, share, driver.clamped))
        yield result


def _unsigned(reading: Reading) -> tuple[Reading, float]:
    """A reading with its axis turned so that the first of its numbers that is not 0 is positive, and the sign."""
    axis = kind_of(reading).axis
    if axis is None or not axis.signed:
        return reading, 1.0
    vector, sign = _turned(getattr(reading, axis.signed))
    unsigned: Reading = reading._replace(**{axis.signed: vector})  # type: ignore[arg-type]
    return unsigned, sign


def _turned(vector: tuple[float, float, float]) -> tuple[tuple[float, float, float], float]:
    sign = -1.0 if next((number for number in vector if number != 0.0), 1.0) < 0.0 else 1.0
    x, y, z = vector
    return (sign * x + 0.0, sign * y + 0.0, sign * z + 0.0), sign
