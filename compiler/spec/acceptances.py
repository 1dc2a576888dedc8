"""Takes out the warnings and notes that declarations accept."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.source import Source, Span
from plica.spec.fact_sets import FactSet
from plica.syntax import nodes


class _Stretch(NamedTuple):
    """A declaration's place and where it accepts a rule; declarations of a text never overlap."""

    start: int
    end: int
    places: list[Span]


class _Accepted:
    """Where each rule is accepted: by the character for the whole spec, by a declaration for itself."""

    def __init__(self, everywhere: Mapping[str, Span], declarations: Iterable[tuple[nodes.Declaration, FactSet]]):
        self._everywhere = everywhere
        self._stretches: dict[tuple[str, Source], dict[int, _Stretch]] = {}
        self.places = dict.fromkeys((rule, at) for rule, at in everywhere.items())
        for node, facts in declarations:
            for fact in facts.many("accept"):
                rule, at = fact.node.part("rule"), fact.scope.span(fact.node)
                if (rule, at) not in self.places:  # written out several times, it is still one acceptance
                    self.places[rule, at] = None
                    known = self._stretches.setdefault((rule, at.source), {})
                    known.setdefault(node.start, _Stretch(node.start, node.end, [])).places.append(at)
        self._starts = {key: sorted(known) for key, known in self._stretches.items()}

    def by(self, diagnostic: Diagnostic) -> Iterator[Span]:
        """The acceptances that cover a diagnostic."""
        if diagnostic.severity is Severity.ERROR:
            return
        if diagnostic.name in self._everywhere:
            yield self._everywhere[diagnostic.name]
        if diagnostic.span is None:
            return
        key, start = (diagnostic.name, diagnostic.span.source), diagnostic.span.start
        starts = self._starts.get(key, [])
        before = bisect_right(starts, start)
        if before:
            stretch = self._stretches[key][starts[before - 1]]
            if start < stretch.end:
                yield from stretch.places


def drop_accepted(
    everywhere: Mapping[str, Span], declarations: Iterable[tuple[nodes.Declaration, FactSet]], diagnostics: Diagnostics
) -> None:
    """Take out what is accepted; accepting nothing is itself a warning.

    everywhere: the rules that the character accepts, and where it does; declarations: each with its own facts.
    """
    accepted = _Accepted(everywhere, declarations)
    if not accepted.places:
        return
    used: set[Span] = set()
    kept: list[Diagnostic] = []
    for diagnostic in diagnostics.whole:
        by = list(accepted.by(diagnostic))
        used.update(by)
        if not by:
            kept.append(diagnostic)
    diagnostics.keep(kept)
    for rule, at in accepted.places:
        if at not in used:
            diagnostics.add("nothing-accepted", at, name=rule)
