"""Declarations as binding asks about them: their kind, facts, extent, and what they accept."""

from __future__ import annotations

from collections.abc import Iterator

from plica.source import Span
from plica.spec.acceptances import Acceptance
from plica.spec.instances import Instance
from plica.syntax import nodes


def kind_of(node: nodes.Declaration) -> str:
    """The kind of a declaration, `override` for one that changes another."""
    if isinstance(node, nodes.Block):
        return node.kind
    if isinstance(node, nodes.CombineDeclaration):
        return "combine"
    return "curve" if isinstance(node, nodes.CurveDeclaration) else "override"


def facts_of(node: nodes.Block | nodes.CombineDeclaration) -> tuple[nodes.Fact, ...]:
    """The facts of a declaration; the strength of a combine is one of them."""
    if isinstance(node, nodes.Block):
        return node.facts
    strength = nodes.Fact("strength", (node.strength,), node.strength.start, node.strength.end)
    return (strength, *node.facts)


def extent_of(instance: Instance) -> Span:
    """The whole text of a declaration."""
    return Span(instance.scope.source, instance.node.start, instance.node.end)


def acceptances_of(instance: Instance, *within: Span) -> Iterator[Acceptance]:
    """The findings that a declaration accepts within these places."""
    node = instance.node.target if isinstance(instance.node, nodes.Override) else instance.node
    assert isinstance(node, nodes.Block | nodes.CombineDeclaration)
    for fact in node.facts:
        if fact.key == "accept":
            yield Acceptance(fact.part("rule"), instance.scope.span(fact), within)
