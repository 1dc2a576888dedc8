"""Takes out the warnings and notes that a spec accepts: `accept RULE because "REASON"`."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator

from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.diagnostics.catalogue import rule, rules
from plica.named_tuples import NamedTuple
from plica.source import Source, Span


class Acceptance(NamedTuple):
    """A rule that is accepted, where that stands, and the declarations that it holds for; None for the whole spec."""

    rule: str
    at: Span
    within: tuple[Span, ...] | None


class _AcceptedText(NamedTuple):
    """A declaration's place and where a rule is accepted for it; declarations of a text never overlap."""

    start: int
    end: int
    places: list[Span]


class _Accepted:
    """Where each rule is accepted: for the whole spec, or for some declarations."""

    def __init__(self, acceptances: Iterable[Acceptance]):
        self._everywhere: dict[str, Span] = {}
        self._stretches: dict[tuple[str, Source], dict[int, _AcceptedText]] = {}
        self.places: dict[tuple[str, Span], None] = {}
        for name, at, within in dict.fromkeys(acceptances):  # written out several times, it is still one acceptance
            self.places[name, at] = None
            if within is None:
                self._everywhere[name] = at
            for place in within or ():
                known = self._stretches.setdefault((name, place.source), {})
                known.setdefault(place.start, _AcceptedText(place.start, place.end, [])).places.append(at)
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


def check_acceptances(acceptances: Iterable[Acceptance], diagnostics: Diagnostics) -> None:
    """Tell of acceptances that name nothing, or an error, which cannot be accepted."""
    for name, at in dict.fromkeys((one.rule, one.at) for one in acceptances):
        severity = _severity(name)
        if severity is Severity.ERROR:
            diagnostics.add("error-accepted", at, name=name)
        elif severity is None:
            known = (rule.name for rule in rules().values() if rule.severity != Severity.ERROR)
            hint = diagnostics.near_hint(name, known) or "`plica check` shows the name of each finding after its code"
            diagnostics.add("unknown-rule", at, name=name, hint=hint)


def _severity(name: str) -> Severity | None:
    """How much a rule's findings weigh; None where there is no such rule."""
    try:
        return Severity(rule(name).severity)
    except KeyError:
        return None


def drop_accepted(acceptances: Iterable[Acceptance], diagnostics: Diagnostics) -> None:
    """Take out what is accepted; accepting nothing is itself a warning, unless errors may have hidden something."""
    accepted = _Accepted(acceptances)
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
    if diagnostics.has_errors:
        return
    for name, at in accepted.places:
        if at not in used:
            diagnostics.add("nothing-accepted", at, name=name)
