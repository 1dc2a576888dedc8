"""Binds how an area is found from deformation: the facts beside its source."""

from __future__ import annotations

from plica.kinds.deformations import DEFAULT_ISLAND, DEFAULT_PEAK, DEFAULT_SMOOTHING, DEFAULT_SPAN
from plica.quantities import percent
from plica.spec import entries as model
from plica.spec.context import Context
from plica.spec.fact_sets import FactSet, ScopedFact
from plica.syntax.fact_kinds import FACT_KINDS
from plica.units import Dimension

AREA_GROUPS = ("area_span", "peak", "smoothing", "islands", "direction")
"""The groups of facts that only regions found from deformation may hold."""


def refuse_settings(facts: FactSet, context: Context) -> None:
    """Reports facts that say how an area is found, in a region of another source."""
    for group in AREA_GROUPS:
        fact = facts.one(group)
        if fact is not None:
            keyword = FACT_KINDS[fact.node.key].keyword
            context.diagnostics.add("only-of-found-areas", fact.scope.span(fact.node), fact=keyword)


def with_settings(source: model.SkinDeformedBy, facts: FactSet, context: Context) -> model.SkinDeformedBy | None:
    """A source with the facts beside it; None after an unknown joint."""
    span = _span(facts.one("area_span"), context)
    measure = facts.one("area_span")
    direction = facts.one("direction")
    bound = None if direction is None else _direction(direction, context)
    if direction is not None and bound is None:
        return None
    return source._replace(
        span=DEFAULT_SPAN if span is None else span,
        measure=(measure.node.part("measure") if measure else None) or "peak",
        peak=_size(facts.one("peak"), Dimension.AREA, context, "the skin of a peak", DEFAULT_PEAK, least=0.0),
        smoothing=_size(facts.one("smoothing"), Dimension.LENGTH, context, "a smoothing", DEFAULT_SMOOTHING),
        island=_size(facts.one("islands"), Dimension.AREA, context, "an island", DEFAULT_ISLAND),
        direction=bound,
    )


def _span(fact: ScopedFact | None, context: Context) -> tuple[float, float] | None:
    """The amounts at which the weight is 0 and 1; a diagnostic where the second is not the larger one."""
    if fact is None:
        return None
    least, greatest = (
        fact.scope.amount(fact.node.part(name), Dimension.SHARE, "an amount of deformation")
        for name in ("least", "greatest")
    )
    if not 0.0 <= least < greatest:
        values = {"least": percent(least), "greatest": percent(greatest)}
        context.diagnostics.add_filled("area-span-order", fact.scope.span(fact.node), values)
        return None
    return least, greatest


def _size(
    fact: ScopedFact | None,
    dimension: Dimension,
    context: Context,
    what: str,
    default: float,
    least: float | None = None,
) -> float:
    """A length or an area that is not negative; above `least` where that is given."""
    if fact is None:
        return default
    told = context.diagnostics.count_of_all
    value = fact.scope.amount(fact.node.only, dimension, what)
    if context.diagnostics.count_of_all > told:
        return default
    if value < 0 or (least is not None and value <= least):
        context.diagnostics.add("not-positive", fact.scope.span(fact.node), what=what)
        return default
    return value


def _direction(fact: ScopedFact, context: Context) -> model.DirectionOf | None:
    node, scope = fact
    joint = context.joint(node.part("joint"), scope)
    way, along = node.key.split("_")
    axis = context.axis(node.part("axis"), scope) if along == "axis" else None
    return None if joint is None else model.DirectionOf(way, joint, axis)
