"""Binds what drivers say: readings, spans, curves, combinations, fields, controls."""

from __future__ import annotations

from itertools import pairwise
from math import isclose, pi
from typing import Literal, cast

from plica.curves import POINT_CURVES, READY_CURVES
from plica.diagnostics.suggest import did_you_mean
from plica.kinds.combinations import COMBINATION_KINDS
from plica.kinds.kernels import DEFAULT_KERNEL, kernel_kind
from plica.spec import entries as model
from plica.spec.context import Context
from plica.spec.fact_sets import FactSet, ScopedFact
from plica.spec.scope import Scope
from plica.syntax import nodes
from plica.units import Dimension
from plica.values import LINEAR, Bezier, Curve

_MAX_NESTING = 32
# A field's equations take time with the cube of its samples; so much of it as writing a character out.
_WORK = 2


# ---- readings ---------------------------------------------------------------------------------------


def bind_reading(node: nodes.Reading, scope: Scope, context: Context) -> model.ReadingOf | None:
    """A reading with its joints and axes bound."""
    if isinstance(node, nodes.ControlReading):
        control = context.symbols.target(node.control, "control", scope, context.side)
        return model.ControlOf(control) if control else None
    joint = context.joint(node.joint, scope)
    if joint is None:
        return None
    if isinstance(node, nodes.RotationReading):
        return model.RotationOf(joint, context.axis(node.axis, scope))
    if isinstance(node, nodes.BendReading):
        return model.BendOf(joint)
    if isinstance(node, nodes.SwingReading):
        along = context.axis(node.along, scope) if node.along is not None else None
        return model.SwingOf(joint, context.axis(node.toward, scope), along)
    if isinstance(node, nodes.EulerReading):
        return _euler(node, joint, scope, context)
    if isinstance(node, nodes.OffsetReading):
        return model.OffsetOf(joint, context.axis(node.axis, scope))
    other = context.joint(node.other, scope)
    if other is None:
        return None
    if other.left == joint.left or other.right == joint.right:
        context.diagnostics.add("gap-to-itself", scope.span(node))
        return None
    return model.GapOf(joint, other)


def _euler(node: nodes.EulerReading, joint: model.JointRef, scope: Scope, context: Context) -> model.EulerOf | None:
    order = scope.name(node.order)
    if sorted(order) != ["x", "y", "z"]:
        context.diagnostics.add("not-an-order", scope.span(node.order), text=order)
        return None
    channel = node.channel.lstrip("+-")
    if node.channel.startswith("-"):
        context.diagnostics.add("signed-channel", scope.span(node), channel=channel)
        return None
    return model.EulerOf(joint, cast(Literal["x", "y", "z"], channel), order)


_ANGLES = (model.RotationOf, model.BendOf, model.SwingOf, model.EulerOf)
_LENGTHS = (model.OffsetOf, model.GapOf)


def dimension_of(reading: model.ReadingOf) -> Dimension:
    """What a reading measures."""
    if isinstance(reading, _ANGLES):
        return Dimension.ANGLE
    return Dimension.LENGTH if isinstance(reading, _LENGTHS) else Dimension.NUMBER


def _span(fact: ScopedFact, reading: model.ReadingOf, context: Context) -> tuple[float, float]:
    """The span in the reading's inside unit; checked to be one that the reading can travel."""
    node, scope = fact
    dimension = dimension_of(reading)
    errors = context.diagnostics.count_of_errors
    start, end = (
        scope.amount(amount, dimension, "a span of this reading") for amount in (node.part("start"), node.part("end"))
    )
    if context.diagnostics.count_of_errors > errors:
        return start, end
    if start == end:
        context.diagnostics.add("empty-span", scope.span(node))
    low, high = min(start, end), max(start, end)
    limit = pi * (1 + 1e-12)
    if isinstance(reading, model.BendOf) and (low < 0 or high > limit):
        context.diagnostics.add("span-out-of-reach", scope.span(node), reading="bend", least="0", most="180 deg")
    elif dimension is Dimension.ANGLE and (low < -limit or high > limit):
        context.diagnostics.add(
            "span-out-of-reach", scope.span(node), reading="an angle", least="-180 deg", most="180 deg"
        )
    return start, end


def bind_driver(facts: FactSet, context: Context) -> model.DriverFacts | None:
    """A driver's facts, or None after diagnostics."""
    reads, span = facts.one("reads"), facts.one("span")
    if reads is None:
        context.report_missing("driver", "reads")
    if span is None:
        context.report_missing("driver", "span")
    response = facts.one("response")
    curve = bind_curve(response.node.part("curve"), response.scope, context) if response else LINEAR
    if reads is None:
        return None
    reading = bind_reading(reads.node.part("reading"), reads.scope, context)
    if reading is None or span is None or curve is None:
        return None
    values = _span(span, reading, context)
    return model.DriverFacts(reading, values, facts.one("unclamped") is None, curve)


# ---- curves -----------------------------------------------------------------------------------------


def bind_curve(node: nodes.Curve, scope: Scope, context: Context) -> Curve | None:
    """A curve as numbers."""
    if isinstance(node, nodes.NamedCurve):
        if node.ready:
            return READY_CURVES.get(node.name.text)
        symbols = context.symbols.find("curve", node.name, scope)
        return context.curves.get(symbols[0].name) if symbols else None
    if isinstance(node, nodes.BezierCurve):
        x1, y1, x2, y2 = (scope.amount(value, Dimension.NUMBER, "a curve") for value in node.controls)
        if not (0 <= x1 <= 1 and 0 <= x2 <= 1):
            context.diagnostics.add("bezier-turns-back", scope.span(node))
            return None
        return Bezier((x1, y1, x2, y2))
    return _point_curve(node, scope, context)


def _point_curve(node: nodes.PointCurve, scope: Scope, context: Context) -> Curve | None:
    errors = context.diagnostics.count_of_errors
    points = [
        (scope.amount(x, Dimension.NUMBER, "a curve"), scope.amount(y, Dimension.NUMBER, "a curve"))
        for x, y in node.points
    ]
    if context.diagnostics.count_of_errors > errors:
        return None
    span = scope.span(node)
    if any(later[0] <= earlier[0] for earlier, later in pairwise(points)):
        context.diagnostics.add("curve-turns-back", span)
        return None
    if len(points) < 2 or not isclose(points[0][0], 0) or not isclose(points[-1][0], 1):
        context.diagnostics.add("curve-incomplete", span)
        return None
    if any(not 0 <= y <= 1 for _, y in points):
        context.diagnostics.add("curve-out-of-range", span)
        return None
    joined = POINT_CURVES.get(node.kind)
    if joined is None:
        context.diagnostics.add("points-not-wanted", span, curve=node.kind)
        return None
    return joined(points)


# ---- combinations -----------------------------------------------------------------------------------


def bind_combination(node: nodes.Strength, scope: Scope, context: Context) -> model.CombinationOf | None:
    """A combination; a single reference becomes a product of one."""
    bound = _part(node, scope, context, 0)
    if isinstance(bound, model.EntryReference):
        return model.CombinationOf("product", (bound,))
    return bound


def _part(
    node: nodes.Strength, scope: Scope, context: Context, depth: int
) -> model.CombinationOf | model.EntryReference | None:
    if isinstance(node, nodes.Reference):
        return context.symbols.target(node, "strength", scope, context.side)
    if depth >= _MAX_NESTING:
        context.diagnostics.add("nested-too-deeply", scope.span(node), most=_MAX_NESTING)
        return None
    how = scope.name(node.how)
    parts = [_part(part, scope, context, depth + 1) for part in node.parts]
    if how not in COMBINATION_KINDS:
        *others, last = COMBINATION_KINDS
        hint = did_you_mean(how, COMBINATION_KINDS) or f"there are {', '.join(others)} and {last}"
        context.diagnostics.add("unknown-combination", scope.span(node.how), name=how, hint=hint)
        return None
    bound = tuple(part for part in parts if part is not None)
    if len(bound) < len(parts):
        return None
    return model.CombinationOf(how, bound)


# ---- fields and controls ----------------------------------------------------------------------------


def bind_field(facts: FactSet, context: Context) -> model.FieldFacts | None:
    """A field's facts, or None after diagnostics."""
    reads = facts.one("reads")
    if reads is None:
        context.report_missing("field", "reads")
        return None
    if not facts.many("sample"):
        context.report_missing("field", "sample")
    node, scope = reads
    if not scope.budget.spend(len(facts.many("sample")) ** 3 // _WORK, context.span):
        return None
    joint = context.joint(node.part("joint"), scope)
    direction = context.axis(node.part("axis"), scope) if node.key == "field_direction" else None
    kernel, width = _kernel(facts, context)
    samples = tuple(
        model.SampleValue(fact.scope.name(fact.node.part("name")), context.turns(fact.node.part("turns"), fact.scope))
        for fact in facts.many("sample")
    )
    if joint is None or not samples:
        return None
    return model.FieldFacts(joint, direction, kernel, width, samples)


def _kernel(facts: FactSet, context: Context) -> tuple[str, float | None]:
    fact = facts.one("kernel")
    if fact is None:
        return DEFAULT_KERNEL, None
    kind, amount = fact.node.part("kind"), fact.node.part("width")
    if amount is None:
        return kind, None
    width = fact.scope.amount(amount, Dimension.ANGLE, "the width of a kernel")
    if not kernel_kind(kind).has_width:
        context.diagnostics.add("width-not-wanted", fact.scope.span(fact.node), kernel=kind)
        return kind, None
    if width <= 0:
        context.diagnostics.add("not-positive", fact.scope.span(fact.node), what="the width of a kernel")
        return kind, None
    return kind, width


def bind_control(facts: FactSet, context: Context) -> model.ControlFacts | None:
    """A control's range (default 0 .. 1) and rest value (default: 0, or the end of the range nearest to it)."""
    least, most = 0.0, 1.0
    errors = context.diagnostics.count_of_errors
    limits = facts.one("control_range")
    if limits is not None:
        least, most = (
            limits.scope.amount(amount, Dimension.NUMBER, "the range of a control")
            for amount in (limits.node.part("least"), limits.node.part("greatest"))
        )
        if context.diagnostics.count_of_errors > errors:
            return None
        if least >= most:
            context.diagnostics.add("empty-range", limits.scope.span(limits.node))
            return None
    rest = facts.one("control_rest")
    if rest is None:
        return model.ControlFacts((least, most), min(max(0.0, least), most))
    value = rest.scope.amount(rest.node.part("amount"), Dimension.NUMBER, "the rest value of a control")
    if not least <= value <= most:
        context.diagnostics.add("rest-out-of-range", rest.scope.span(rest.node))
    return model.ControlFacts((least, most), value)
