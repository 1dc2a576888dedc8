"""Binds the character block: geometry, skeleton, sides, mirror plane, output names, aliases."""

from __future__ import annotations

from itertools import chain

from plica.diagnostics import Diagnostics, Label
from plica.named_tuples import NamedTuple
from plica.readers.model_outline import ModelOutline
from plica.rounding import REST_DIGITS, rounded
from plica.skeleton.algebra import IDENTITY_QUATERNION, Quaternion, about, multiply
from plica.skeleton.sides import NO_SIDES
from plica.skeleton.skeleton import Joint, Skeleton
from plica.spec.bind_sides import bind_sides
from plica.spec.bind_skinning import bind_skinning
from plica.spec.bind_stance import only_rest
from plica.spec.bind_unit import bind_unit
from plica.spec.budget import Budget
from plica.spec.context import Context, read_about
from plica.spec.entries import BoundSkeleton, CharacterFacts
from plica.spec.fact_sets import FactSet, ScopedFact, collect
from plica.spec.instances import Instance
from plica.spec.ordering import rounds
from plica.spec.scope import Scope
from plica.spec.symbols import Symbols
from plica.syntax import nodes
from plica.units import Dimension
from plica.values import Alias, Geometry
from plica.workspace import Refused, Workspace

DEFAULT_NAMES = "{side}_{name}"
DEFAULT_TOLERANCE = 0.0001
_SIDED = frozenset({"symmetry", "stance", "left_pattern", "right_pattern", "pair", "pairs_by_position"})


class BoundCharacter(NamedTuple):
    """The character block's facts, the skeleton that the rest is bound to, and the model's outline.

    `sides_in_doubt`: what it says of left and right was found wrong, so that missing sides are no further mistake.
    """

    facts: CharacterFacts
    bound: BoundSkeleton
    outline: ModelOutline | None
    sides_in_doubt: bool = False


def bind_character(
    instance: Instance, symbols: Symbols, workspace: Workspace | None, diagnostics: Diagnostics
) -> BoundCharacter:
    """Bind a character block; what is missing or wrong becomes diagnostics and is left out."""
    node, scope, left_out = instance
    assert isinstance(node, nodes.Block) and node.name is not None
    facts = collect(node.facts, scope, diagnostics)
    tells_joints = left_out is None or _tells_joints(facts, left_out)
    if not tells_joints:
        facts = facts.without(_SIDED)
    empty = BoundSkeleton(Skeleton(()), NO_SIDES, None, True, only_rest(Skeleton(())))
    context = Context(diagnostics, symbols, empty, None, workspace, {}, "none", instance.span)
    geometry, as_read = _geometry(facts, context)
    outline = bind_unit(facts, as_read, diagnostics)
    if geometry is not None and outline is not None:
        geometry = geometry._replace(unit=outline.unit)
    rest = _skeleton(facts, outline, context) if tells_joints else Skeleton(())
    is_of_model = outline is not None and outline.skeleton is rest
    errors = diagnostics.count_of_errors
    stance, sides, plane, plane_found = bind_sides(facts, rest, outline if is_of_model else None, context)
    in_doubt = diagnostics.count_of_errors > errors or bool(facts.repeated & _SIDED)
    skeleton = stance.skeleton
    unreadable = geometry is not None and outline is None and workspace is not None and not skeleton.joints
    unknown = unreadable or not tells_joints
    context = context._replace(bound=BoundSkeleton(skeleton, sides, plane, plane_found, stance, unknown))
    names, side_texts = _names(facts, diagnostics)
    accepted = {fact.node.part("rule"): fact.scope.span(fact.node) for fact in facts.many("accept")}
    character = CharacterFacts(
        name=scope.name(node.name),
        title=scope.fill(node.title.text, node.title, lenient=True) if node.title else "",
        geometry=geometry,
        tolerance=_tolerance(facts),
        band=_band(facts),
        skinning=bind_skinning(facts, outline, instance.span, diagnostics),
        about=read_about(facts, context),
        names_pattern=names,
        side_texts=side_texts,
        aliases=_aliases(facts, context),
        span=instance.span,
        accepted=accepted,
    )
    return BoundCharacter(character, context.bound, outline, in_doubt)


def no_character(document: nodes.Document, diagnostics: Diagnostics, budget: Budget) -> Instance:
    """What stands in for a character that was not understood, or that is not there: nothing is known of it."""
    node = nodes.Block("character", nodes.Name("", 0, 0), None, None, (), 0, 0)
    return Instance(node, Scope(document.source, {}, "", diagnostics, budget), ())


def _tells_joints(facts: FactSet, left_out: tuple[str, ...]) -> bool:
    """Whether the facts that were understood tell all joints and their sides, whatever the words left out meant."""
    groups = facts.groups
    joints = bool(groups & {"geometry", "skeleton"})
    sides = {"left_pattern", "right_pattern"} <= groups or "pairs_by_position" in groups
    return joints and sides and not set(left_out) & {"pair", "pairs"}


def _tolerance(facts: FactSet) -> float:
    """How far mirrored vertices may miss each other, metres."""
    fact = facts.one("tolerance")
    if fact is None:
        return DEFAULT_TOLERANCE
    amount = fact.scope.amount(fact.node.part("amount"), Dimension.LENGTH, "a tolerance")
    if amount < 0:
        fact.scope.diagnostics.add("not-positive", fact.scope.span(fact.node), what="a tolerance")
    return max(amount, 0.0)


def _band(facts: FactSet) -> float:
    """How wide the sides pass into each other, metres; 0 where it is not stated."""
    fact = facts.one("band")
    if fact is None:
        return 0.0
    width = fact.scope.amount(fact.node.part("width"), Dimension.LENGTH, "a band")
    if width < 0:
        fact.scope.diagnostics.add("not-positive", fact.scope.span(fact.node), what="a band")
    return max(width, 0.0)


# ---- geometry and skeleton --------------------------------------------------------------------------


def _geometry(facts: FactSet, context: Context) -> tuple[Geometry | None, ModelOutline | None]:
    fact = facts.one("geometry")
    if fact is None:
        return None, None
    path, mesh_names = fact.node.part("file"), fact.node.part("meshes")
    errors = context.diagnostics.count_of_errors
    shown = context.file(path, fact.scope)
    meshes = tuple(fact.scope.fill(name.text, name) for name in mesh_names or ())
    outline = None
    if context.workspace is not None and context.diagnostics.count_of_errors == errors:
        from plica.readers.model_reader import find_outline

        located = context.workspace.locate(shown)
        assert not isinstance(located, Refused)
        outline = find_outline(located, shown, fact.scope.span(path), context.diagnostics, meshes)
        if outline is not None:
            _check_meshes(fact, meshes, outline, context.diagnostics)
    return Geometry(shown, meshes), outline


def _check_meshes(fact: ScopedFact, meshes: tuple[str, ...], outline: ModelOutline, diagnostics: Diagnostics) -> None:
    names = [mesh.name for mesh in outline.meshes]
    known = list(dict.fromkeys([*names, *(node for mesh in outline.meshes for node in mesh.nodes)]))
    for name, node in zip(meshes, fact.node.part("meshes") or (), strict=True):
        if name not in known:
            hint = diagnostics.near_hint(name, known) or f"the file has {', '.join(names[:20]) or 'no meshes'}"
            diagnostics.add("unknown-mesh", fact.scope.span(node), name=name, hint=hint)


def _skeleton(facts: FactSet, outline: ModelOutline | None, context: Context) -> Skeleton:
    fact = facts.one("skeleton")
    if fact is None:
        return outline.skeleton if outline is not None else Skeleton(())
    geometry = facts.one("geometry")
    if geometry is not None and (outline is None or outline.skeleton.joints):
        label = Label(geometry.scope.span(geometry.node), "the model that brings a skeleton")
        context.diagnostics.add("two-skeletons", fact.scope.span(fact.node), labels=[label])
        return outline.skeleton if outline is not None else Skeleton(())
    return Skeleton(tuple(_ordered_joints(fact, context)))


def _ordered_joints(fact: ScopedFact, context: Context) -> list[Joint]:
    """The declared joints, parents first; unknown parents, repeated names and cycles become diagnostics."""
    result, scope = context.diagnostics, fact.scope
    written: dict[str, nodes.SkeletonJoint] = {}
    for node in fact.node.part("joints"):
        name = scope.fill(node.name.text, node.name)
        if name in written:
            label = Label(scope.span(written[name].name), "first declared here")
            result.add("duplicate-name", scope.span(node.name), kind="joint", name=name, labels=[label])
        else:
            written[name] = node
    index: dict[str, int] = {}
    joints: list[Joint] = []
    parents = {
        name: [scope.fill(node.parent.text, node.parent)] if node.parent is not None else []
        for name, node in written.items()
    }
    for name in chain.from_iterable(rounds(parents)):
        joints.append(_joint(name, written[name], index, written, context, scope))
        index[name] = len(joints) - 1
    for name, node in written.items():
        if name not in index:
            result.add("joint-cycle", scope.span(node.name), name=name)
    return joints


def _joint(
    name: str,
    node: nodes.SkeletonJoint,
    index: dict[str, int],
    written: dict[str, nodes.SkeletonJoint],
    context: Context,
    scope: Scope,
) -> Joint:
    x, y, z = (scope.amount(value, Dimension.LENGTH, "a joint's position") for value in node.position)
    parent = None
    if node.parent is not None:
        parent_name = scope.fill(node.parent.text, node.parent)
        parent = index.get(parent_name)
        if parent is None:
            hint = context.diagnostics.near_hint(parent_name, written)
            context.diagnostics.add("unknown-joint", scope.span(node.parent), name=parent_name, hint=hint)
    return Joint(name, parent, (x, y, z), _rotation(node.turns, context, scope))


def _rotation(turns: tuple[nodes.WrittenTurn, ...], context: Context, scope: Scope) -> Quaternion:
    rotation = IDENTITY_QUATERNION
    for node, turn in zip(turns, context.turns(turns, scope), strict=True):
        if node.axis.space in ("joint", "model"):
            context.diagnostics.add("axis-of-a-rest-frame", scope.span(node.axis), space=node.axis.space)
        rotation = multiply(about(turn.axis.vector, turn.angle), rotation)
    return rounded(rotation, REST_DIGITS)


# ---- names and aliases ------------------------------------------------------------------------------


def _names(facts: FactSet, diagnostics: Diagnostics) -> tuple[str, tuple[str, str]]:
    fact = facts.one("names")
    pattern = DEFAULT_NAMES
    if fact is not None:
        pattern = fact.node.part("pattern").text
        rest = pattern.replace("{side}", "").replace("{name}", "")
        if pattern.count("{name}") != 1 or pattern.count("{side}") != 1 or "{" in rest or "}" in rest:
            diagnostics.add("not-a-names-pattern", fact.scope.span(fact.node), pattern=pattern)
            pattern = DEFAULT_NAMES
    sides = facts.one("sides")
    if sides is None:
        return pattern, ("left", "right")
    left, right = (text.text for text in (sides.node.part("left"), sides.node.part("right")))
    if left == right:
        diagnostics.add("same-side-texts", sides.scope.span(sides.node), text=left)
        return pattern, ("left", "right")
    return pattern, (left, right)


def _aliases(facts: FactSet, context: Context) -> tuple[Alias, ...]:
    """What clips call joints; an alias of a pair's base name is not possible, because a clip's joint has a side."""
    result: dict[str, Alias] = {}
    for node, scope in facts.many("alias"):
        clip_name, joint = node.part("clip_name"), node.part("joint")
        bound = context.joint(joint, scope)
        if clip_name.text in result:
            context.diagnostics.add("duplicate-name", scope.span(clip_name), kind="alias", name=clip_name.text)
        elif bound is not None:
            name = context.bound.skeleton.joints[bound.left].name
            result[clip_name.text] = Alias(clip_name.text, name)
    return tuple(result[name] for name in sorted(result))
