"""Judgements of joints, of the mirror plane, and of what clips call joints."""

from __future__ import annotations

from collections.abc import Iterator
from math import atan2, dist, hypot
from typing import Final

from plica.diagnostics.place import counted
from plica.diff.judgement import Judgement, Situation, TableJudgement, always, came_or_went, values_text
from plica.diff.renamed_alike import JOINTS
from plica.diff.value_text import ARROW, amount
from plica.diff.verdicts import GEOMETRY, NAMES, STRENGTHS, Harm, Verdict
from plica.quantities import changed
from plica.skeleton.algebra import conjugate, multiply
from plica.skeleton.skeleton import LocalTransform


def _plane(situation: Situation) -> Verdict:
    return Verdict("plane", Harm.RISKY, (STRENGTHS, GEOMETRY), f"the mirror plane was {situation.fact.what}")


def _alias(situation: Situation) -> Verdict:
    return came_or_went(situation, (STRENGTHS,), removed=Harm.RISKY)


def _other_names(situation: Situation) -> Iterator[Verdict]:
    """Of many joints at once; what finds joints by name, as clips do, does not find these."""
    count = len(situation.fields)
    yield Verdict("joints-renamed", Harm.BREAKING, (NAMES,), f"{counted(count, 'joint')} renamed, all frames the same")


def _frame(situation: Situation) -> Iterator[Verdict]:
    """Where a joint stands in its parent, in words; of the rest only what the neutral stance does not say as well."""
    old, new = situation.fact.old, situation.fact.new
    neutral, rest = " and ".join(_moved(old.neutral, new.neutral)), " and ".join(_moved(old.rest, new.rest))
    reaches = (STRENGTHS, GEOMETRY)
    if neutral:
        yield Verdict("joint-moved", Harm.RISKY, reaches, f"in its parent {neutral}")
    if (rest and (old.rest, new.rest) != (old.neutral, new.neutral)) or not neutral:
        text = f"as its file has it before anything moves {rest}" if rest else values_text(situation)
        yield Verdict("joint-rest", Harm.RISKY, reaches, text)


def _moved(old: LocalTransform, new: LocalTransform) -> Iterator[str]:
    if old.translation != new.translation:
        yield f"moved by {amount(dist(old.translation, new.translation), 'mm')}"
    if old.rotation != new.rotation:
        between = multiply(conjugate(old.rotation), new.rotation)
        turned = 2.0 * atan2(hypot(*between[:3]), abs(between[3]))
        yield f"turned by {amount(turned, 'deg')}"
    if old.scale != new.scale:
        yield f"scaled {', '.join(map(changed, old.scale))} {ARROW} {', '.join(map(changed, new.scale))}"


JUDGEMENTS: Final = (
    Judgement("skeleton", (JOINTS,), _other_names),
    Judgement("skeleton", ("neutral", "rest"), _frame),
    always("skeleton", "skinned", "skinned", Harm.RISKY, GEOMETRY),
    always("symmetry", "found", "plane-stated", Harm.COSMETIC, GEOMETRY),
)
TABLES: Final = (
    TableJudgement("skeleton", (STRENGTHS, GEOMETRY)),
    TableJudgement("symmetry", (STRENGTHS, GEOMETRY), _plane),
    TableJudgement("aliases", (STRENGTHS,), _alias),
)
