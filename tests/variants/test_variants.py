"""The same character, written in other ways, gives the same strengths, skin, offsets, regions and measures."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from tests.variants.characters import CHARACTERS, Character
from tests.variants.law import Outcome, outcome_of, span_of
from tests.variants.open import OPEN, reason
from tests.variants.skinned import own_skin
from tests.variants.table import VARIANTS
from tests.variants.variation import Variant, Variation, unchanged

# Files hold positions and inverse bind matrices in single precision; a chain of joints adds some of its roundings up.
# Shares of the body's size; strengths are computed from nodes, which hold all digits, unless the file lacks them.
ROUNDING = 2e-7
STRENGTHS = 1e-9
# Where frames come out of chains, as inverse binds do: half a unit in the last place, 6e-8, for each element, of
# up to 16 joints one in the other. A share of the body's size and radians; strengths divide it by their spans.
CHAINED = 1e-6
REGIONS = 2e-5  # weights from 0 to 1; distances along the skin are divided by the width of the feather
FIGURES = 2e-5  # shares and metres; a volume is a small difference of large numbers
LAWS = ("read", "strengths", "skin", "offsets", "regions", "measures")
FEWEST = 0.8  # share of the variants that must hold


@cache
def variation_of(variant: Variant, character: Character) -> Variation:
    return variant.make(character)


@cache
def outcome(variant: Variant | None, character: Character) -> Outcome:
    variation = unchanged(character) if variant is None else variation_of(variant, character)
    with TemporaryDirectory() as folder:
        return outcome_of(variation, Path(folder))


def difference(law: str, variant: Variant, character: Character) -> float:
    """How far a variant is from the character, as a multiple of what the law allows."""
    ours, theirs = outcome(variant, character), outcome(None, character)
    if law == "read":
        return 0.0 if ours.strengths and not ours.errors and not ours.lost else np.inf
    if law == "strengths":
        if variant.chained:
            allowed = {name: CHAINED / span_of(name, theirs.size) for name in theirs.strengths}
            return _furthest(ours.strengths, theirs.strengths, allowed)
        return _furthest(ours.strengths, theirs.strengths) / STRENGTHS
    if law == "regions":
        return _furthest(ours.regions, theirs.regions) / REGIONS
    if law == "measures":
        return _furthest(ours.figures, theirs.figures) / FIGURES
    a, b = (ours.skin, theirs.skin) if law == "skin" else (ours.moved, theirs.moved)
    rounding = CHAINED if variant.chained else ROUNDING
    return float(np.abs(a - b).max()) / theirs.size / rounding if a.shape == b.shape else np.inf


def _furthest(
    ours: dict[str, np.ndarray] | dict[str, float],
    theirs: dict[str, np.ndarray] | dict[str, float],
    allowed: dict[str, float] | None = None,
) -> float:
    if set(ours) != set(theirs):
        return np.inf
    units = allowed or dict.fromkeys(theirs, 1.0)
    return max(float(np.abs(ours[name] - theirs[name]).max()) / units[name] for name in theirs)


def characters_of(variant: Variant) -> tuple[Character, ...]:
    """The characters that show a variant here: the smallest, and for every third variant one of the others in turn.

    On all of them: `python -m tests.variants.report laws`.
    """
    smallest, *others = sorted(CHARACTERS, key=lambda one: one.name)
    number = VARIANTS.index(variant)
    return (smallest,) if number % 3 else (smallest, others[number // 3 % len(others)])


def cases() -> list[object]:
    result = []
    for variant in VARIANTS:
        for character in characters_of(variant):
            for law in LAWS:
                why = reason(variant.name, law, character.name)
                marks = [pytest.mark.xfail(reason=why, strict=True)] if why else []
                name = f"{character.name}-{variant.name}-{law}"
                result.append(pytest.param(character, variant, law, marks=marks, id=name))
    return result


@pytest.mark.parametrize(("character", "variant", "law"), cases())
def test_a_variant_gives_the_same_or_is_refused(character: Character, variant: Variant, law: str) -> None:
    result = outcome(variant, character)
    if variant.refused and variant.refused in result.errors:
        return
    assert difference(law, variant, character) <= 1.0, (result.errors, result.warnings)


@pytest.mark.parametrize(
    ("character", "variant"),
    [
        pytest.param(character, variant, id=f"{character.name}-{variant.name}")
        for variant in VARIANTS
        for character in characters_of(variant)
    ],
)
def test_the_variants_show_the_character(character: Character, variant: Variant) -> None:
    """By skinning of its own, so that a mistake in a variant is not taken for one of Plica."""
    there, here = own_skin(unchanged(character), 2), own_skin(variation_of(variant, character), 2)
    assert np.abs(there - here).max() <= 1e-6 * np.linalg.norm(np.ptp(there, axis=0))


def test_most_variants_must_hold() -> None:
    assert sum(not variant.refused for variant in VARIANTS) / len(VARIANTS) >= FEWEST
    names = {variant.name for variant in VARIANTS}
    assert len(names) == len(VARIANTS) and {one.variant for one in OPEN} <= names


@pytest.mark.parametrize("character", CHARACTERS, ids=lambda character: character.name)
def test_the_motion_moves_what_is_compared(character: Character) -> None:
    """Comparing zeros would prove nothing: every strength, shape and side does something."""
    theirs = outcome(None, character)
    assert not theirs.errors and not theirs.warnings
    assert all(values.max() > 0.01 for values in theirs.strengths.values()), theirs.strengths
    assert np.abs(theirs.moved).max() > 1e-3
    assert all(np.any((weights > 0.01) & (weights < 0.99)) for weights in theirs.regions.values())
    assert len(theirs.figures) == 13 and theirs.figures["rest"] == 0.0
