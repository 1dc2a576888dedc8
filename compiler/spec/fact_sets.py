"""The facts of one declaration, an override's put over the declared ones."""

from __future__ import annotations

from collections.abc import Iterable

from plica.diagnostics import Diagnostics, Label
from plica.named_tuples import NamedTuple
from plica.spec.scope import Scope
from plica.syntax import nodes
from plica.syntax.fact_kinds import ADDED, FACT_KINDS


class ScopedFact(NamedTuple):
    """A fact with the scope that it was written in."""

    node: nodes.Fact
    scope: Scope


class FactSet:
    """Facts by group (`source`, `reads`, ...). `repeated`: groups with facts too many, which was told."""

    def __init__(self, groups: dict[str, list[ScopedFact]], repeated: frozenset[str] = frozenset()) -> None:
        self._groups = groups
        self.repeated = repeated

    def one(self, group: str) -> ScopedFact | None:
        """The fact of a group, or None."""
        facts = self._groups.get(group)
        return facts[0] if facts else None

    def many(self, group: str) -> list[ScopedFact]:
        """All facts of a group, in the order written."""
        return self._groups.get(group, [])

    def put_over(self, other: FactSet) -> None:
        """Put the facts of an override in the place of these, or beside them; of a set that nothing else holds."""
        for group, facts in other._groups.items():
            if group in ADDED:
                self._groups.setdefault(group, []).extend(facts)
            else:
                self._groups[group] = facts

    def with_override(self, other: FactSet) -> FactSet:
        """These facts with those of an override in their place."""
        merged = FactSet({group: list(facts) for group, facts in self._groups.items()})
        merged.put_over(other)
        return merged

    def without(self, groups: frozenset[str]) -> FactSet:
        """These facts without those of some groups."""
        return FactSet({group: facts for group, facts in self._groups.items() if group not in groups}, self.repeated)

    @property
    def groups(self) -> frozenset[str]:
        """The groups that hold a fact."""
        return frozenset(self._groups)


def collect(facts: Iterable[nodes.Fact], scope: Scope, diagnostics: Diagnostics) -> FactSet:
    """Group facts; a second fact where only one can be is a diagnostic."""
    groups: dict[str, list[ScopedFact]] = {}
    repeated: set[str] = set()
    for fact in facts:
        kind = FACT_KINDS[fact.key]
        known = groups.setdefault(kind.group or kind.key, [])
        if known and not kind.repeatable:
            label = Label(known[0].scope.span(known[0].node), "the first one")
            diagnostics.add("duplicate-fact", scope.span(fact), fact=kind.keyword, labels=[label])
            repeated.add(kind.group or kind.key)
            continue
        known.append(ScopedFact(fact, scope))
    return FactSet(groups, frozenset(repeated))
