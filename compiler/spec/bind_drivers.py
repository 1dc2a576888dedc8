"""Binds what drivers say: readings, spans, curves, combinations, fields, controls."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain, combinations, pairwise
from math import isclose
from typing import Any, assert_never

from plica.curves import POINT_CURVES, READY_CURVES
from plica.diagnostics.suggest import did_you_mean
from plica.kinds.combinations import COMBINATION_KINDS
from plica.kinds.kernels import DEFAULT_KERNEL, kernel_kind
from plica.kinds.reading_kind import Part
from plica.kinds.readings import READING_KINDS
from plica.spec import entries as model
from plica.spec.context import Context
from plica.spec.fact_sets import FactSet, ScopedFact
from plica.spec.morph_names import bind_morph
from plica.spec.scope import Scope, has_unknown
from plica.syntax import nodes
from plica.units import Dimension
from plica.values import LINEAR, Bezier, Curve

_MAX_NESTING = 32
# A field's equations take time with the cube of its samples; so much of it as writing a character out.
_WORK = 2
_ROUNDING = 1 + 1e-12  # 180 deg and half a turn differ in the last digit


# ---- readings ---------------------------------------------------------------------------------------


def bind_reading(node: nodes.Reading, scope: Scope, context: Context) -> model.ReadingOf | None:
    """A reading with its joints and axes bound, or None after diagnostics."""
    kind = READING_KINDS[node.kind]
    written = node.parts
    values = tuple(
        None if part is None else _reading_part(kind.parts[name], part, node, scope, context)
        for name, part in written.items()
    )
    if any(value is None and part is not None for value, part in zip(values, written.values(), strict=True)):
        return None
    joints = [value for value in values if isinstance(value, model.JointRef)]
    if not _are_apart(joints, node, scope, context):
        return None
    return model.ReadingOf(node.kind, values)


def _are_apart(joints: Sequence[model.JointRef], node: nodes.Placed, scope: Scope, context: Context) -> bool:
    """Whether the joints are different ones on both sides; else after a diagnostic."""
    if any(one.left == other.left or one.right == other.right for one, other in combinations(joints, 2)):
        context.diagnostics.add("gap-to-itself", scope.span(node))
        return False
    return True


def _reading_part(
    sort: Part, part: Any, reading: nodes.Reading, scope: Scope, context: Context
) -> model.JointRef | model.AxisValue | model.EntryReference | model.MorphRef | str | None:
    match sort:
        case Part.JOINT:
            return context.joint(part, scope)
        case Part.ROTATION_AXIS | Part.DIRECTION:
            return context.axis(part, scope)
        case Part.CHANNEL:
            return _channel(part, reading, scope, context)
        case Part.ORDER:
            return _order(part, scope, context)
        case Part.MORPH:
            return bind_morph(part, scope, context)
        case Part.CONTROL:
            return context.target(part, "control", scope)
    assert_never(sort)


def _channel(written: str, reading: nodes.Reading, scope: Scope, context: Context) -> str | None:
    channel = written.lstrip("+-")
    if written.startswith("-"):
        context.diagnostics.add("signed-channel", scope.span(reading), channel=channel)
        return None
    return channel


def _order(written: nodes.Name, scope: Scope, context: Context) -> str | None:
    order = scope.name(written)
    if has_unknown(order):
        return None
    if sorted(order) != ["x", "y", "z"]:
        context.diagnostics.add("not-an-order", scope.span(written), text=order)
        return None
    return order


def _span(fact: ScopedFact, reading: str, context: Context) -> tuple[float, float] | None:
    """The span in the inside unit of a kind of reading; checked to be one that such a reading can travel."""
    node, scope = fact
    kind = READING_KINDS[reading]
    ends = scope.amounts((node.part("start"), node.part("end")), kind.dimension, "a span of this reading")
    if ends is None:
        return None
    start, end = ends
    if start == end:
        context.diagnostics.add("empty-span", scope.span(node))
    reach = kind.reach
    if reach is not None and not (
        reach.least * _ROUNDING <= min(start, end) and max(start, end) <= reach.greatest * _ROUNDING
    ):
        context.diagnostics.add(
            "span-out-of-reach",
            scope.span(node),
            reading=reach.what,
            least=reach.least_text,
            most=reach.greatest_text,
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
    written = reads.node.part("reading")
    reading = bind_reading(written, reads.scope, context)
    values = None if span is None else _span(span, written.kind, context)
    if reading is None or values is None or curve is None:
        return None
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
    numbers = scope.amounts(tuple(chain.from_iterable(node.points)), Dimension.NUMBER, "a curve")
    if numbers is None:
        return None
    points = list(zip(numbers[::2], numbers[1::2], strict=True))
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
        return context.target(node, "strength", scope)
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
    joint, looking = context.joint(node.part("joint"), scope), node.part("relative_to")
    relative_to = None if looking is None else context.joint(looking, scope)
    direction = context.axis(node.part("axis"), scope) if node.key == "field_direction" else None
    kernel, width = _kernel(facts, context)
    samples = tuple(
        model.SampleValue(
            fact.scope.name(fact.node.part("name")),
            context.turns(fact.node.part("turns"), fact.scope),
            _width(fact, kernel, context),
        )
        for fact in facts.many("sample")
    )
    if joint is None or not samples or (looking is not None and relative_to is None):
        return None
    if relative_to is not None and not _are_apart((joint, relative_to), node, scope, context):
        return None
    return model.FieldFacts(joint, relative_to, direction, kernel, width, samples)


def _kernel(facts: FactSet, context: Context) -> tuple[str, float | None]:
    fact = facts.one("kernel")
    if fact is None:
        return DEFAULT_KERNEL, None
    kind = fact.node.part("kind")
    return kind, _width(fact, kind, context)


def _width(fact: ScopedFact, kernel: str, context: Context) -> float | None:
    """The width that a fact states, in radians; None where it states none, and after a diagnostic."""
    amount = fact.node.part("width")
    if amount is None:
        return None
    width = fact.scope.known_amount(amount, Dimension.ANGLE, "the width of a kernel")
    if not kernel_kind(kernel).has_width:
        context.diagnostics.add("width-not-wanted", fact.scope.span(fact.node), kernel=kernel)
        return None
    if width is not None and width <= 0:
        context.diagnostics.add("not-positive", fact.scope.span(fact.node), what="the width of a kernel")
        return None
    return width


def bind_control(facts: FactSet, context: Context) -> model.ControlFacts | None:
    """A control's range (default 0 .. 1) and rest value (default: 0, or the end of the range nearest to it)."""
    least, most = 0.0, 1.0
    limits = facts.one("control_range")
    if limits is not None:
        written = limits.node.part("least"), limits.node.part("greatest")
        ends = limits.scope.amounts(written, Dimension.NUMBER, "the range of a control")
        if ends is None:
            return None
        least, most = ends
        if least >= most:
            context.diagnostics.add("empty-range", limits.scope.span(limits.node))
            return None
    rest = facts.one("control_rest")
    if rest is None:
        return model.ControlFacts((least, most), min(max(0.0, least), most))
    value = rest.scope.known_amount(rest.node.part("amount"), Dimension.NUMBER, "the rest value of a control")
    if value is None:
        return None
    if not least <= value <= most and (limits is not None or context.is_whole):
        context.diagnostics.add("rest-out-of-range", rest.scope.span(rest.node))
    return model.ControlFacts((least, most), value)
