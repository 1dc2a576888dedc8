"""Binds what the character block says of left and right: patterns, stated pairs, pairs by position, the plane."""

from __future__ import annotations

from typing import Final, cast

from plica.diagnostics import Diagnostics
from plica.named_tuples import NamedTuple
from plica.quantities import length
from plica.readers.model_outline import ModelOutline
from plica.skeleton.bind_pose import NO_BIND_POSE
from plica.skeleton.pairing import contradicted, side_of_left
from plica.skeleton.pairs_by_position import PositionPairs, pairs_by_position, plainly_two_sided
from plica.skeleton.planes import Plane, find_plane, is_off_axis, plainly_evener, turned_plane
from plica.skeleton.side_patterns import named_sides
from plica.skeleton.sides import (
    NO_SIDES,
    AxisName,
    Pair,
    Sides,
    StatedPair,
    pair_joints,
    valid_pattern,
    with_placed,
)
from plica.skeleton.skeleton import Skeleton
from plica.spec.bind_stance import POSE_NAMES, ModelPoses, bind_stance
from plica.spec.bind_unit import report_size
from plica.spec.context import Context
from plica.spec.entries import ChosenStance
from plica.spec.fact_sets import FactSet, ScopedFact
from plica.spec.morph_pairs import has_morph_pairs
from plica.syntax.builder import encode_text
from plica.units import Dimension

# Pairs that miss each other by more than this share of the body's size are not a mirror image.
_PLANE_TOLERANCE: Final = 0.02
_SHOWN: Final = 6  # names in a message, the others are counted


class BoundSides(NamedTuple):
    """The neutral stance, the pairs and the mirror plane in it, and whether that was found and not stated."""

    stance: ChosenStance
    sides: Sides
    plane: Plane | None
    is_found: bool


def bind_sides(facts: FactSet, rest: Skeleton, outline: ModelOutline | None, context: Context) -> BoundSides:
    """What is said of left and right; `outline`: of the model that the skeleton is from, None where it is declared."""
    sides = _named_sides(facts, rest, outline, context.diagnostics)
    fact, stated = facts.one("pairs_by_position"), _stated_plane(facts)
    bind = NO_BIND_POSE if outline is None else outline.bind
    pairs = [] if sides is None else list(sides.pairs.values())
    stance = bind_stance(
        facts, ModelPoses(rest, bind, pairs, stated), outline is not None, context.span, context.diagnostics
    )
    skeleton = stance.skeleton
    if outline is not None:
        report_size(skeleton, outline, context.span, context.diagnostics)
    if sides is None:
        sides = NO_SIDES
    elif fact is not None and skeleton.joints:
        sides = _placed_sides(fact, skeleton, sides, stated, context)
    elif facts.one("left_pattern") is facts.one("right_pattern") is None and not facts.many("pair"):
        _report_undeclared(skeleton, context)
    plane, is_found = _plane(facts, stance, sides, stated, context)
    if plane is not None:
        _report_contradictions(facts, skeleton, sides, plane, context)
    return BoundSides(stance, sides, plane, is_found)


# ---- by names ---------------------------------------------------------------------------------------


def _named_sides(
    facts: FactSet, skeleton: Skeleton, outline: ModelOutline | None, diagnostics: Diagnostics
) -> Sides | None:
    """The pairs that patterns and facts name; None after a diagnostic."""
    left, right = facts.one("left_pattern"), facts.one("right_pattern")
    patterns: dict[str, list[str]] = {"left": [], "right": []}
    for side, fact in (("left", left), ("right", right)):
        for text in fact.node.part("patterns") if fact else ():
            if not valid_pattern(text.text):
                assert fact is not None
                diagnostics.add("not-a-pattern", fact.scope.span(text), pattern=text.text)
                return None
            patterns[side].append(text.text)
    either = left or right
    if facts.repeated & {"left_pattern", "right_pattern"} or not _patterns_match(either, patterns, diagnostics):
        return None
    names = _names(skeleton)
    if either is not None:  # every pattern is tried on every name
        tried = len(names) + (0 if outline is None else len(outline.all_morph_targets))
        either.scope.budget.spend(len(patterns["left"]) * tried, either.scope.span(either.node))
        if diagnostics.stopped:
            return None
    stated = _stated_pairs(facts, skeleton, diagnostics)
    sides = pair_joints(names, patterns["left"], patterns["right"], stated)
    _report_sides(sides, skeleton, outline, either, diagnostics)
    return sides


def _patterns_match(fact: ScopedFact | None, patterns: dict[str, list[str]], diagnostics: Diagnostics) -> bool:
    if fact is None:
        return True
    lefts, rights = patterns["left"], patterns["right"]
    stars = [pattern.count("*") for pattern in lefts] == [pattern.count("*") for pattern in rights]
    if len(lefts) != len(rights) or not stars:
        diagnostics.add("patterns-differ", fact.scope.span(fact.node), left=len(lefts), right=len(rights))
        return False
    return True


def _stated_pairs(facts: FactSet, skeleton: Skeleton, diagnostics: Diagnostics) -> list[StatedPair]:
    stated = []
    for node, scope in facts.many("pair"):
        indexes = []
        joints, shared = (node.part("left"), node.part("right")), node.part("shared")
        for joint in joints:
            name = scope.fill(joint.text, joint)
            if name in skeleton.index:
                indexes.append(skeleton.index[name])
            else:
                hint = diagnostics.near_hint(name, skeleton.index)
                diagnostics.add("unknown-joint", scope.span(joint), name=name, hint=hint)
        if len(indexes) == 2:
            stated.append(StatedPair(indexes[0], indexes[1], shared.text if shared else None))
    return stated


def _report_sides(
    sides: Sides, skeleton: Skeleton, outline: ModelOutline | None, fact: ScopedFact | None, diagnostics: Diagnostics
) -> None:
    if fact is None or not skeleton.joints:
        return
    span = fact.scope.span(fact.node)
    if not sides.pairs and not has_morph_pairs(outline, sides.patterns):
        found = named_sides(skeleton)
        hint = f"the joints' names fit `left {_texts(found.left)}` and `right {_texts(found.right)}`"
        diagnostics.add("no-pairs", span, hint=hint if found.left else None)
        return
    if sides.unpaired:
        names = [skeleton.joints[index].name for index in sides.unpaired]
        diagnostics.add("unpaired-joints", span, count=len(names), names=_shortened(names))
    if sides.clashing:
        diagnostics.add("clashing-pairs", span, names=_shortened(list(sides.clashing)))


def _shortened(names: list[str]) -> str:
    shown = ", ".join(f"`{name}`" for name in names[:_SHOWN])
    return shown if len(names) <= _SHOWN else f"{shown} and {len(names) - _SHOWN} more"


def _names(skeleton: Skeleton) -> list[str]:
    return [joint.name for joint in skeleton.joints]


# ---- by position ------------------------------------------------------------------------------------


def _placed_sides(fact: ScopedFact, skeleton: Skeleton, sides: Sides, stated: StatedPlane, context: Context) -> Sides:
    """The named pairs and those that places give, after diagnostics for what places leave open."""
    span, report = fact.scope.span(fact.node), context.diagnostics.add
    named = list(sides.pairs.values())
    known = find_plane(skeleton, named, *stated)
    found = pairs_by_position(skeleton, known)
    if found.plane is None or not found.pairs:
        where = f"across {' and '.join(found.rivals)} alike" if found.rivals else "across no plane"
        report("no-placed-pairs", span, where=where)
        return sides
    sign = _sign_of_left(fact, found, skeleton, sides, context)
    if sign is None:
        return sides
    ordered = [pair if sign > 0 else pair[::-1] for pair in found.pairs]
    names = _names(skeleton)
    result = with_placed(sides, ordered, names)
    unknown = [names[joint] for joint in found.ambiguous if joint not in result.partner]
    if unknown:
        report("several-partners", span, count=len(unknown), names=_shortened(unknown))
    return result


def _sign_of_left(
    fact: ScopedFact, found: PositionPairs, skeleton: Skeleton, sides: Sides, context: Context
) -> float | None:
    """On which side of the plane left is, 1.0 for the positive one; None after a diagnostic."""
    assert found.plane is not None
    written, span = fact.node.part("axis"), fact.scope.span(fact.node)
    if written is None:
        sign = side_of_left(skeleton, sides, found.plane)
        if sign == 0.0:
            context.diagnostics.add("left-not-told", span, axis=found.plane.nearest_axis)
        return sign or None
    told = found.plane.sign_of(written)
    if told == 0.0:
        context.diagnostics.add("left-along-the-plane", span, axis=written, plane=found.plane.nearest_axis)
    return told or None


def _report_undeclared(skeleton: Skeleton, context: Context) -> None:
    """A warning where a skeleton without declared sides has two all the same."""
    if len(skeleton.joints) < 2:
        return
    by_name = named_sides(skeleton)
    if len(by_name.sides.pairs) >= 3 and by_name.left:
        hint = f"write `left {_texts(by_name.left)}` and `right {_texts(by_name.right)}` in the character"
        context.diagnostics.add("sides-undeclared", context.span, count=len(by_name.sides.pairs), hint=hint)
        return
    found = pairs_by_position(skeleton)
    if found.plane is not None and plainly_two_sided(found):
        axis = found.plane.nearest_axis
        hint = f"write `pairs by position with left toward {axis}` (or `-{axis}`) in the character"
        context.diagnostics.add("sides-undeclared", context.span, count=len(found.pairs), hint=hint)


def _texts(patterns: tuple[str, ...]) -> str:
    return ", ".join(map(encode_text, patterns))


def _report_contradictions(facts: FactSet, skeleton: Skeleton, sides: Sides, plane: Plane, context: Context) -> None:
    """A warning where places pair a joint with another one than its name does, or put left where right is."""
    fact = facts.one("pairs_by_position")
    axis = fact.node.part("axis") if fact is not None else None
    stated = 0.0 if axis is None else plane.sign_of(axis)
    wrong = contradicted(skeleton, sides, plane, stated)
    if not wrong:
        return
    names = _names(skeleton)
    shown = [f"{names[left]} and {names[right]}" for left, right in wrong]
    place = facts.one("left_pattern") or next(iter(facts.many("pair")), None)
    span = place.scope.span(place.node) if place is not None else context.span
    context.diagnostics.add("names-against-places", span, count=len(wrong), names=_shortened(shown))


# ---- the plane --------------------------------------------------------------------------------------


StatedPlane = tuple[AxisName | None, float | None]


def _stated_plane(facts: FactSet) -> StatedPlane:
    """The axis and the offset that are stated; None for what is to be found."""
    fact = facts.one("symmetry")
    if fact is None:
        return None, None
    axis, offset_node = fact.node.part("axis"), fact.node.part("offset")
    offset = fact.scope.amount(offset_node, Dimension.LENGTH, "the plane's place") if offset_node else 0.0
    return cast(AxisName, axis.lstrip("+-")), offset


def _plane(
    facts: FactSet, stance: ChosenStance, sides: Sides, stated: StatedPlane, context: Context
) -> tuple[Plane | None, bool]:
    """The plane that is stated, or that the pairs have, and whether it was found."""
    skeleton = stance.skeleton
    fact, pairs = facts.one("symmetry"), list(sides.pairs.values())
    plane = find_plane(skeleton, pairs, *stated)
    if plane is not None and pairs and not _turned(skeleton, pairs, plane, fact, context):
        size = max(max(map(abs, frame.origin)) for frame in skeleton.frames) or 1.0
        if plane.residual > _PLANE_TOLERANCE * size:
            span = fact.scope.span(fact.node) if fact else context.span
            context.diagnostics.add(
                "uneven-rest-pose",
                span,
                pose=POSE_NAMES[stance.taken],
                axis=plane.text,
                offset=plane.place,
                distance=f"{plane.residual:.3g}",
                joint=plane.worst,
            )
    return plane, fact is None


def _turned(skeleton: Skeleton, pairs: list[Pair], plane: Plane, fact: ScopedFact | None, context: Context) -> bool:
    """Tells of pairs that are plainly even across a plane along no axis: a note where it is taken, an error where
    another one is stated.
    """
    along = plane if fact is not None else find_plane(skeleton, pairs, plane.nearest_axis)
    if along is None or not is_off_axis(along, skeleton):
        return False
    turned = turned_plane(skeleton, pairs)
    if turned is None or not plainly_evener(turned, along, skeleton):
        return False
    name, span = ("turned-plane", context.span) if fact is None else ("plane-denied", fact.scope.span(fact.node))
    context.diagnostics.add(
        name,
        span,
        normal=turned.text,
        offset=turned.place,
        residual=length(turned.residual),
        axis=along.text,
        along=length(along.residual),
    )
    return True
