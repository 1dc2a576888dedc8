"""What combinations are made of, and what they make of strengths."""

from __future__ import annotations

from collections.abc import Mapping

from plica.kinds.combinations import combination_kind
from plica.rig.strengths import Combination, StrengthOf


def parts_of(combination: Combination) -> list[str]:
    """The names of all strengths that a combination is made of, in the order in which they are written."""
    names: list[str] = []
    for part in combination.parts:
        names += [part.strength] if isinstance(part, StrengthOf) else parts_of(part)
    return names


def combined(combination: Combination, strengths: Mapping[str, float]) -> float:
    """What a combination makes of strengths by name; those that are not given are 0."""
    values = [
        strengths.get(part.strength, 0.0) if isinstance(part, StrengthOf) else combined(part, strengths)
        for part in combination.parts
    ]
    return combination_kind(combination.how).of(values)
