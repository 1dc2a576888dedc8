"""Binds what shapes, regions, details and folds say."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from plica.diagnostics import Diagnostics
from plica.kinds.deformations import (
    DEFAULT_FEATHER,
    DEFAULT_ISLAND,
    DEFAULT_PEAK,
    DEFAULT_SMOOTHING,
    DEFAULT_SPAN,
)
from plica.quantities import number
from plica.readers.model_outline import ModelOutline, listed
from plica.source import Span
from plica.spec import entries as model
from plica.spec.bind_areas import refuse_settings, with_settings
from plica.spec.bind_drafts import bind_draft
from plica.spec.context import Context
from plica.spec.fact_sets import FactSet, ScopedFact
from plica.spec.scope import Scope, has_unknown
from plica.syntax import nodes
from plica.syntax.fact_kinds import FACT_KINDS
from plica.units import Dimension
from plica.values import Sided

# How far a mask may be from its full-size form unless a fold says otherwise. A mask of a few kilobytes does the work of
# one of megabytes (common practice, no source).
DEFAULT_TOLERANCE = 0.05

_NO_SCULPT = (
    "before there is a sculpt, leave this fact out: `plica pose` writes the skin to sculpt on, and `plica adopt` takes "
    "the sculpt in and says what to write here"
)


# ---- regions ----------------------------------------------------------------------------------------


def bind_region(facts: FactSet, context: Context) -> model.RegionFacts | None:
    """A region's facts, or None after diagnostics."""
    fact = facts.one("source")
    if fact is None:
        context.report_missing("region", ", ".join(dict.fromkeys(FACT_KINDS[key].keyword for key in _SOURCES)))
        return None
    is_found = fact.node.key in ("deformed_by", "deformed_posed")
    source = _SOURCES[fact.node.key](fact, context)
    feather = _length(
        facts.one("feather"),
        context,
        "a feather",
        DEFAULT_FEATHER if is_found else 0.0,
    )
    if isinstance(source, model.SkinDeformedBy):
        source = with_settings(source, facts, context)
    elif not is_found:
        refuse_settings(facts, context)
    return model.RegionFacts(source, feather) if source is not None else None


def _skin(fact: ScopedFact, context: Context) -> model.SkinOfJoints | None:
    node, scope = fact
    joints = [context.joint(joint, scope) for joint in node.part("joints")]
    if any(joint is None for joint in joints):
        return None
    known = tuple(joint for joint in joints if joint is not None)
    return model.SkinOfJoints(known, below=node.part("below") is not None)


def _painted(fact: ScopedFact, context: Context) -> model.PaintedImage:
    node, scope = fact
    image, uv = node.part("image"), node.part("uv")
    return model.PaintedImage(context.file(image, scope), uv_set(uv, scope, context) if uv else None)


def _vertices(fact: ScopedFact, context: Context) -> model.StoredVertices:
    return model.StoredVertices(context.file(fact.node.part("file"), fact.scope))


def _set(fact: ScopedFact, context: Context) -> model.SetOfRegions | None:
    node, scope = fact
    how, references = node.part("how"), node.part("regions")
    targets = [context.target(reference, "region", scope) for reference in references]
    if len(references) < 2:
        context.diagnostics.add("too-few-regions", scope.span(node), how=how)
    if any(target is None for target in targets):
        return None
    return model.SetOfRegions(how, tuple(target for target in targets if target is not None))


def _deformed_by(fact: ScopedFact, context: Context) -> model.SkinDeformedBy | None:
    node, scope = fact
    shapes = [context.target(shape, "shape", scope) for shape in node.part("shapes")]
    known = tuple(shape for shape in shapes if shape is not None)
    return _deformed(node.part("how"), known, (), ()) if len(known) == len(shapes) else None


def _deformed_posed(fact: ScopedFact, context: Context) -> model.SkinDeformedBy | None:
    node, scope = fact
    items = [_posed_item(item, scope, context) for item in node.part("pose")]
    written = node.part("shapes")
    shapes = [context.target(shape, "shape", scope) for shape in written or ()]
    if None in items or None in shapes:
        return None
    pose = tuple(item for item in items if item is not None)
    known = tuple(shape for shape in shapes if shape is not None)
    return _deformed(node.part("how"), (), pose, None if written is None else known)


def _deformed(
    how: str,
    by: tuple[model.EntryReference, ...],
    pose: tuple[model.StrengthPoseOf | model.JointPoseOf | model.NamedPoseOf, ...],
    after: tuple[model.EntryReference, ...] | None,
) -> model.SkinDeformedBy:
    """What the source says; the facts beside it come later."""
    sizes = (DEFAULT_PEAK, DEFAULT_SMOOTHING, DEFAULT_ISLAND)
    return model.SkinDeformedBy(how, by, pose, after, DEFAULT_SPAN, "peak", *sizes, None)


_SOURCES: Mapping[str, Callable[[ScopedFact, Context], model.RegionSourceOf | None]] = {
    "skin_of": _skin,
    "painted": _painted,
    "vertices": _vertices,
    "region_set": _set,
    "deformed_by": _deformed_by,
    "deformed_posed": _deformed_posed,
}
"""How each source of a region is bound, by the name of the fact."""


def uv_set(node: nodes.Text, scope: Scope, context: Context) -> str:
    """The name of a uv set; a diagnostic where the model has none of that name."""
    name = scope.fill(node.text, node)
    if context.outline is not None:
        known = dict.fromkeys(uv_set for mesh in context.outline.meshes if mesh.taken for uv_set in mesh.uv_sets)
        if name not in known and not has_unknown(name):
            hint = context.diagnostics.near_hint(name, known) or f"the model has {', '.join(known) or 'none'}"
            context.diagnostics.add("unknown-uv", scope.span(node), name=name, hint=hint)
    return name


def _length(fact: ScopedFact | None, context: Context, what: str, default: float) -> float:
    if fact is None:
        return default
    value = fact.scope.amount(fact.node.only, Dimension.LENGTH, what)
    if value < 0:
        context.diagnostics.add("not-positive", fact.scope.span(fact.node), what=what)
        return default
    return value


# ---- shapes -----------------------------------------------------------------------------------------


def bind_shape(facts: FactSet, context: Context) -> model.ShapeFacts | None:
    """A shape's facts. A shape without a sculpt is one still to be made, which is a note."""
    source: model.SculptOf | model.MorphOf | None = None
    fact = facts.one("source")
    if fact is None:
        if context.is_whole:
            context.diagnostics.add("not-sculpted", context.span, name=context.name)
    elif fact.node.key == "morph":
        source = _morph(fact, context)
    else:
        path, pose, after = (fact.node.part(name) for name in ("file", "pose", "after"))
        source = _sculpt(path, pose, after, fact.scope, context)
    within = _target(facts.one("within"), "region", context)
    follows = _target(facts.one("follows"), "strength", context)
    if facts.one("follows") is None:
        context.report_missing("shape", "follows")
    inbetweens = _inbetweens(facts, context)
    threshold = _length(facts.one("threshold"), context, "a threshold", 0.0)
    sided = facts.one("sided")
    stated: Sided | None = None if sided is None else "one-sided" if sided.node.key == "one_sided" else "two-sided"
    if sided is not None and context.side != "both":
        context.diagnostics.add("sided-without-sides", sided.scope.span(sided.node), name=context.name)
    return model.ShapeFacts(source, within, follows, inbetweens, threshold, stated, bind_draft(facts, context))


def _target(fact: ScopedFact | None, namespace: str, context: Context) -> model.EntryReference | None:
    if fact is None:
        return None
    return context.target(fact.node.only, namespace, fact.scope)


def _morph(fact: ScopedFact, context: Context) -> model.MorphOf:
    node, scope = fact
    name = scope.fill(node.part("name").text, node.part("name"))
    if context.outline is not None and name not in context.outline.morph_targets and not has_unknown(name):
        _report_morph(name, context.outline, scope.span(node), context.diagnostics)
    return model.MorphOf(name)


def _report_morph(name: str, outline: ModelOutline, span: Span, diagnostics: Diagnostics) -> None:
    """A morph target that no mesh of the skin has: it may be that of another mesh."""
    others = [mesh.name for mesh in outline.meshes if not mesh.taken and name in mesh.morph_targets]
    if others:
        diagnostics.add("morph-of-another-mesh", span, name=name, meshes=listed(others))
    else:
        hint = diagnostics.near_hint(name, outline.morph_targets)
        diagnostics.add("unknown-morph", span, name=name, hint=hint)


def _sculpt(
    path: nodes.Text,
    pose: tuple[nodes.PoseItem | nodes.PoseNamed, ...] | None,
    after: tuple[nodes.Reference, ...] | None,
    scope: Scope,
    context: Context,
) -> model.SculptOf:
    items = [_posed_item(item, scope, context) for item in pose or ()]
    shapes = [context.target(shape, "shape", scope) for shape in after or ()]
    return model.SculptOf(
        context.file(path, scope, _NO_SCULPT),
        tuple(item for item in items if item is not None),
        tuple(shape for shape in shapes if shape is not None),
    )


def _posed_item(
    item: nodes.PoseItem | nodes.PoseNamed, scope: Scope, context: Context
) -> model.StrengthPoseOf | model.JointPoseOf | model.NamedPoseOf | None:
    if not isinstance(item, nodes.PoseNamed):
        return pose_item(item, scope, context)
    target = context.target(item.pose, "pose", scope)
    return model.NamedPoseOf(target) if target else None


def pose_item(item: nodes.PoseItem, scope: Scope, context: Context) -> model.StrengthPoseOf | model.JointPoseOf | None:
    """A strength or a joint's angle of a pose, or None after a diagnostic."""
    if isinstance(item, nodes.JointAt):
        joint = context.joint(item.joint, scope)
        angle = scope.amount(item.angle, Dimension.ANGLE, "the angle of a joint")
        return model.JointPoseOf(joint, context.axis(item.axis, scope), angle) if joint else None
    target = context.target(item.strength, "strength", scope)
    amount = scope.amount(item.amount, Dimension.NUMBER, "a strength")
    if not 0 <= amount <= 1:
        context.diagnostics.add("strength-out-of-range", scope.span(item), amount=number(amount))
    return model.StrengthPoseOf(target, amount) if target else None


def _inbetweens(facts: FactSet, context: Context) -> tuple[model.InbetweenOf, ...]:
    result: dict[float, model.InbetweenOf] = {}
    for node, scope in facts.many("inbetween"):
        amount, path, pose, after = (node.part(name) for name in ("strength", "file", "pose", "after"))
        at = scope.known_amount(amount, Dimension.NUMBER, "the place of an inbetween")
        if at is None:
            _sculpt(path, pose, after, scope, context)  # for what else is wrong with it
            continue
        if not 0 < at < 1:
            context.diagnostics.add("inbetween-out-of-range", scope.span(node), at=number(at))
        elif at in result:
            context.diagnostics.add("inbetween-twice", scope.span(node), at=number(at))
        result[at] = model.InbetweenOf(at, _sculpt(path, pose, after, scope, context))
    return tuple(result[at] for at in sorted(result))


# ---- details and folds ------------------------------------------------------------------------------


def bind_detail(facts: FactSet, context: Context) -> model.DetailFacts | None:
    """A detail's facts, or None after diagnostics."""
    files = {}
    for key in ("relaxed", "contracted"):
        fact = facts.one(key)
        if fact is None:
            context.report_missing("detail", key)
        else:
            files[key] = context.file(fact.node.part("map"), fact.scope)
    uv, budget, mixing = facts.one("uv"), facts.one("budget"), facts.one("mixing")
    size = budget.scope.known_amount(budget.node.part("size"), Dimension.MEMORY, "a budget") if budget else None
    if budget is not None and size is not None and size <= 0:
        context.diagnostics.add("not-positive", budget.scope.span(budget.node), what="a budget")
    if len(files) < 2:
        return None
    return model.DetailFacts(
        files["relaxed"],
        files["contracted"],
        uv_set(uv.node.part("uv"), uv.scope, context) if uv else None,
        size,
        mixing.node.part("how") if mixing else "plain",
    )


def bind_fold(facts: FactSet, context: Context) -> model.FoldFacts | None:
    """A fold's facts, or None after diagnostics."""
    for group, shown in (("in_detail", "in"), ("area", "area"), ("follows", "follows")):
        if facts.one(group) is None:
            context.report_missing("fold", shown)
    detail = _target(facts.one("in_detail"), "detail", context)
    area = _target(facts.one("area"), "region", context)
    follows = _target(facts.one("follows"), "strength", context)
    fact = facts.one("tolerance")
    tolerance = DEFAULT_TOLERANCE
    if fact is not None:
        known = fact.scope.known_amount(fact.node.part("amount"), Dimension.SHARE, "the tolerance of a mask")
        tolerance = DEFAULT_TOLERANCE if known is None else known
        if not 0 < tolerance < 1:
            bounds = "above 0 % and below 100 %"
            context.diagnostics.add(
                "share-out-of-range", fact.scope.span(fact.node), what="the tolerance of a mask", bounds=bounds
            )
    if detail is None or area is None:
        return None
    return model.FoldFacts(detail, area, follows, tolerance)
