"""Binds what a shape says of a sculpt that is computed."""

from __future__ import annotations

from typing import Final

from plica.quantities import number, percent
from plica.spec.context import Context
from plica.spec.fact_sets import FactSet
from plica.units import Dimension
from plica.values import DraftFacts

LEAST_VOLUME: Final = 0.9
MOST_INBETWEENS: Final = 8


def bind_draft(facts: FactSet, context: Context) -> DraftFacts | None:
    """The facts of a draft; None where none stands there."""
    result = DraftFacts(
        _volume(facts, context),
        _positive(facts, "draft_nearness", Dimension.NUMBER, "the nearness of a draft", context),
        _positive(facts, "draft_border", Dimension.LENGTH, "the border of a draft", context),
        _positive(facts, "draft_gap", Dimension.LENGTH, "the gap of a draft", context),
        _inbetweens(facts, context),
    )
    return None if result == DraftFacts() else result


def _volume(facts: FactSet, context: Context) -> float | None:
    fact = facts.one("draft_volume")
    if fact is None:
        return None
    value = fact.scope.known_amount(fact.node.only, Dimension.SHARE, "the volume that a draft keeps")
    if value is None:
        return None
    if not LEAST_VOLUME <= value <= 1.0:
        least = percent(LEAST_VOLUME)
        context.diagnostics.add(
            "draft-volume-out-of-range", fact.scope.span(fact.node), least=least, given=percent(value)
        )
        return None
    return value


def _positive(facts: FactSet, group: str, dimension: Dimension, what: str, context: Context) -> float | None:
    fact = facts.one(group)
    if fact is None:
        return None
    value = fact.scope.known_amount(fact.node.only, dimension, what)
    if value is not None and value <= 0:
        context.diagnostics.add("not-positive", fact.scope.span(fact.node), what=what)
        return None
    return value


def _inbetweens(facts: FactSet, context: Context) -> int | None:
    fact = facts.one("draft_inbetweens")
    if fact is None:
        return None
    value = fact.scope.known_amount(fact.node.only, Dimension.NUMBER, "the number of inbetweens")
    if value is None:
        return None
    if not (value.is_integer() and 0 <= value <= MOST_INBETWEENS):
        span = fact.scope.span(fact.node)
        context.diagnostics.add("inbetweens-not-counted", span, most=MOST_INBETWEENS, given=number(value))
        return None
    return int(value)
