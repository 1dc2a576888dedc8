"""All strengths of a rig as nodes."""

from __future__ import annotations

from collections.abc import Mapping
from functools import reduce
from typing import Final, assert_never

from plica.kinds.combinations import COMBINATION_KINDS
from plica.kinds.complete import complete
from plica.rig.rig import Rig
from plica.rig.strengths import Combination, Combine, Driver, Sample, StrengthOf
from plica.targets.gltf.live.arithmetic import Arithmetic
from plica.targets.gltf.live.curves import open_response, response
from plica.targets.gltf.live.fields import field_strengths
from plica.targets.gltf.live.graph import Output
from plica.targets.gltf.live.readings import DEAD, ReadingSource, Wish, scaled_reading

_JOINED: Final[Mapping[str, str]] = complete(
    {"product": "multiply", "least": "least", "greatest": "greatest", "sum": "add"},
    COMBINATION_KINDS,
    "operation of a behaviour graph",
)
"""For each way to make a strength of others: which of `Arithmetic` joins two."""


def strength_nodes(rig: Rig, source: ReadingSource) -> dict[str, Output]:
    """The output of every strength, by name, in the order of the rig."""
    fields = {field.name: field for field in rig.fields}
    sampled: dict[str, list[Output]] = {}
    result: dict[str, Output] = {}
    for strength in rig.strengths:
        match strength:
            case Driver():
                result[strength.name] = _driver(source, strength)
            case Combine():
                result[strength.name] = _combination(source.build, strength.combination, result)
            case Sample():
                field = fields[strength.field]
                if field.name not in sampled:
                    sampled[field.name] = field_strengths(source, field)
                names = [sample.name for sample in field.samples[1:]]
                result[strength.name] = sampled[field.name][names.index(strength.sample)]
            case _:
                assert_never(strength)
    return result


def _driver(source: ReadingSource, driver: Driver) -> Output:
    """The curve over (reading - span[0]) / (span[1] - span[0]).

    A span that starts at 0 is 0 at rest to the last bit: of what is cut at 0 a hair is taken off, where its nodes do
    not already give 0 or less; what goes on below 0 is 0 within a hair of it.
    """
    build, (start, end) = source.build, driver.span
    gain = 1.0 / (end - start)
    from_rest = start == 0.0
    found = scaled_reading(source, driver.reading, Wish(gain, below=from_rest and driver.clamped))
    share = build.add(found.output, -start * gain)
    if from_rest and not found.settled:
        if driver.clamped:
            share = build.subtract(share, DEAD)
        else:
            away = build.compared("gt", build.applied("abs", share), DEAD)
            share = build.chosen(away, share, 0.0)
    return (response if driver.clamped else open_response)(build, driver.curve, share)


def _combination(build: Arithmetic, combination: Combination, known: Mapping[str, Output]) -> Output:
    parts = [
        known[part.strength] if isinstance(part, StrengthOf) else _combination(build, part, known)
        for part in combination.parts
    ]
    joined: Output = reduce(getattr(build, _JOINED[combination.how]), parts)
    most = COMBINATION_KINDS[combination.how].most
    return joined if most is None else build.least(joined, most)
