"""Which morph target of the model a name means in a declaration: on the left, and on the right."""

from __future__ import annotations

from itertools import chain

from plica.readers.model_outline import ModelOutline, listed
from plica.spec.context import Context
from plica.spec.entries import MorphRef, MorphTarget, OneSide
from plica.spec.morph_pairs import MorphPairs, mirrored_names, pair_morphs
from plica.spec.scope import Scope
from plica.syntax import nodes


def bind_morph(node: nodes.Text, scope: Scope, context: Context) -> MorphRef | None:
    """The morph target that a name means on either side; None after a diagnostic.

    Without a model nothing is known of its morph targets: the name counts, and a partner where it has a side's mark.
    """
    name, outline, patterns = scope.fill(node.text, node), context.outline, context.bound.sides.patterns
    if context.bound.unknown or "{" in name:
        return None
    if outline is None:
        possible = next(mirrored_names(name, patterns), (name,))
        pairs = pair_morphs(tuple(dict.fromkeys(possible[:2])), patterns)
    else:
        pairs = pair_morphs(outline.all_morph_targets, patterns)
        if name not in outline.all_morph_targets and (context.side == "none" or name not in pairs.bases):
            hint = context.diagnostics.near_hint(name, chain(pairs.bases, outline.all_morph_targets))
            context.diagnostics.add("unknown-morph", scope.span(node), name=name, hint=hint)
            return None
    named = _on_sides(name, pairs, context, node, scope)
    if named is None:
        return None
    left, right = (_target(one, pairs, outline) for one in named)
    for one, target in zip(named, (left, right), strict=True):
        if target is None and outline is not None:
            meshes = listed(list(outline.rest_weights(one)))
            context.diagnostics.add("morph-weights-differ", scope.span(node), name=one, meshes=meshes)
    return None if left is None or right is None else MorphRef(left, right)


def skin_targets(outline: ModelOutline | None, patterns: tuple[tuple[str, str], ...]) -> tuple[MorphTarget, ...]:
    """The morph targets of the skin, but those that meshes show with different weights at rest."""
    if outline is None:
        return ()
    pairs = pair_morphs(outline.all_morph_targets, patterns)
    targets = (_target(name, pairs, outline) for name in outline.morph_targets)
    return tuple(one for one in targets if one is not None)


def _on_sides(name: str, pairs: MorphPairs, context: Context, node: nodes.Text, scope: Scope) -> tuple[str, str] | None:
    """The names that are meant on the left and on the right of a declaration; None after a diagnostic."""
    left = pairs.bases.get(name, name)
    pair = pairs.of(left)
    if context.side == "both":
        if pair is None and name in pairs.single:
            context.diagnostics.add("morph-without-partner", scope.span(node), name=name)
            return None
        return pair or (name, name)
    if name in pairs.bases and pair is not None:
        one = pair[context.side == "right"]
        return one, one
    return name, name


def _target(name: str, pairs: MorphPairs, outline: ModelOutline | None) -> MorphTarget | None:
    """A morph target with its side and its weight at rest; None where the meshes that have it do not agree on that."""
    pair = pairs.of(name)
    side: OneSide = "none" if pair is None else "left" if name == pair[0] else "right"
    rests = {} if outline is None else outline.rest_weights(name)
    values = {value for row in rests.values() for value in row}
    if len(values) > 1:
        return None
    return MorphTarget(name, side, name if pair is None else pair[0], values.pop() if values else 0.0)
