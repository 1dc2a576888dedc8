"""Binds poses, and what is expected over poses."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from plica.kinds.expectations import EXPECTATION_KINDS
from plica.named_tuples import NamedTuple
from plica.source import Span
from plica.spec import entries as model
from plica.spec.bind_surfaces import pose_item, uv_set
from plica.spec.context import Context, read_about
from plica.spec.fact_sets import FactSet, ScopedFact
from plica.spec.scope import Scope
from plica.syntax import nodes
from plica.syntax.fact_kinds import FACT_KINDS
from plica.units import Dimension

_KEYS = {kind.key: kind for kind in EXPECTATION_KINDS.values()}


def bind_pose(facts: FactSet, context: Context) -> model.PoseFacts | None:
    """What a pose turns, in the order of its lines; nothing is the rest pose."""
    items = [pose_item(item, scope, context) for node, scope in facts.many("pose_at") for item in node.part("items")]
    if not items:
        context.report_missing("pose", "at")
    if any(item is None for item in items):
        return None
    return model.PoseFacts(tuple(item for item in items if item is not None))


def bind_expectations(facts: FactSet, context: Context) -> list[model.ExpectationOf]:
    """Every expectation of an `expect` block, or those that bound."""
    about = read_about(facts, context)
    bound: list[model.ExpectationOf] = []
    for group in facts.groups & _KEYS.keys():
        for fact in facts.many(group):
            expectation = _expectation(fact, context)
            if expectation is not None:
                bound.append(expectation._replace(about=about))
    if context.is_whole and not facts.groups & _KEYS.keys():
        context.diagnostics.add("empty-expect", context.span)
    return bound


def _expectation(fact: ScopedFact, context: Context) -> model.ExpectationOf | None:
    node, scope = fact
    kind = _KEYS[node.key]
    parts = dict(zip(FACT_KINDS[node.key].part_names, node.values, strict=True))
    targets: list[model.EntryReference | None] = []
    against: model.EntryReference | None = None
    if kind.about != "character":
        references = parts["strengths"] if kind.about == "strength" else (parts[kind.about],)
        targets = [context.target(name, kind.about, scope) for name in references]
    if "other" in parts:
        against = context.target(parts["other"], kind.about, scope)
        if against is not None and against == targets[0]:
            context.diagnostics.add("compared-with-itself", scope.span(node))
    uv, limit = parts.get("uv"), None
    border = _share(parts.get("border"), _BORDER, scope, context)
    share = _share(parts.get("share"), _AREA, scope, context)
    if parts.get("limit") is not None:
        limit = _limit(parts["limit"], kind.limit.dimensions, scope, context, scope.span(node))
    poses = _over(parts.get("over") or (), scope, context)
    if any(target is None for target in targets) or ("other" in parts and against is None):
        return None
    return model.ExpectationOf(
        kind=kind.name,
        of=tuple(target for target in targets if target is not None),
        of_namespace=kind.about,
        against=against,
        uv=uv_set(uv, scope, context) if uv is not None else None,
        limit=limit,
        border=border,
        share=share,
        over=tuple(poses.strengths),
        over_clips=tuple(poses.clips),
        over_poses=tuple(poses.poses),
        over_everything=poses.everything,
        about=read_about(FactSet({}), context),
        span=scope.span(node),
        side=context.side,
    )


def _limit(node: nodes.Amount, dimensions: tuple[Dimension, ...], scope: Scope, context: Context, span: Span) -> float:
    value, _ = scope.amount_of(node, dimensions, "the limit of this expectation")
    if value < 0:
        context.diagnostics.add("not-positive", span, what="the limit of an expectation")
    return value


class _ShareWritten(NamedTuple):
    """What a percentage is of, how it is bounded, and whether it may be one."""

    what: str
    bounds: str
    allowed: Callable[[float], bool]


_BORDER: Final = _ShareWritten(
    "the border of a region", "0 % or more, and below 100 %", lambda value: 0.0 <= value < 1.0
)
_AREA: Final = _ShareWritten("the share of the area", "above 0 %, and 100 % or less", lambda value: 0.0 < value <= 1.0)


def _share(node: nodes.Amount | None, kind: _ShareWritten, scope: Scope, context: Context) -> float | None:
    """A percentage; None where there is none."""
    if node is None:
        return None
    value = scope.known_amount(node, Dimension.SHARE, kind.what)
    if value is not None and not kind.allowed(value):
        context.diagnostics.add("share-out-of-range", scope.span(node), what=kind.what, bounds=kind.bounds)
    return value


class _Over(NamedTuple):
    """What an expectation goes over."""

    strengths: list[model.EntryReference]
    clips: list[str]
    poses: list[model.EntryReference]
    everything: bool


def _over(items: tuple[nodes.OverItem, ...], scope: Scope, context: Context) -> _Over:
    result = _Over([], [], [], any(isinstance(item, nodes.OverEverything) for item in items))
    for item in items:
        if isinstance(item, nodes.OverClip):
            result.clips.append(context.file(item.path, scope))
        elif isinstance(item, nodes.OverPose):
            pose = context.target(item.pose, "pose", scope)
            result.poses.extend([pose] if pose is not None else [])
        elif isinstance(item, nodes.Reference):
            strength = context.target(item, "strength", scope)
            result.strengths.extend([strength] if strength is not None else [])
    return result
