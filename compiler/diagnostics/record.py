"""The one diagnostic record, and the list that a stage adds to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from enum import StrEnum

from plica import foreign, limits
from plica.diagnostics.catalogue import rule
from plica.diagnostics.suggest import closest
from plica.named_tuples import NamedTuple
from plica.source import Source, Span

MOST_CHARACTERS = 1_000  # of what fills a message
REPEATED = 20  # times the errors that are shown, after which the same ones found again end the search
MOST_NAMED = 3  # of findings that are gathered in one
MOST_COMPARED = 100_000  # words that near misses are looked for among in one run


# Findings that hold whatever a placeholder at their place stands for.
_WHATEVER_VALUES = frozenset(
    {
        "unknown-placeholder",
        "missing-fact",
        "duplicate-fact",
        "duplicate-name",
        "name-not-varied",
        "empty-expect",
        "shadowed-name",
        "missing-argument",
        "unknown-argument",
        "not-in-library",
        "backslash-in-path",
    }
)


class Severity(StrEnum):
    """How much a diagnostic weighs. Only errors stop the work."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


class Label(NamedTuple):
    """A second place that helps to understand a diagnostic."""

    span: Span
    text: str


class Fix(NamedTuple):
    """A replacement of the text at `span` that would resolve the diagnostic."""

    span: Span
    replacement: str


class Diagnostic(NamedTuple):
    """One finding, in the user's words.

    `code` (letters and number) and `name` (kebab case) identify the rule; both are stable.
    `span` is None only where no text is concerned (a missing file given on the command line, say).
    `places`: of findings gathered in one, the others' places. `subject`: what one to be gathered is about.
    """

    code: str
    name: str
    severity: Severity
    span: Span | None
    message: str
    hint: str | None = None
    labels: tuple[Label, ...] = ()
    fix: Fix | None = None
    places: tuple[Span, ...] = ()
    subject: str = ""

    @property
    def sort_key(self) -> tuple[str, int, str, str]:
        """Orders by file, place, code and message, so that output does not depend on the order of checks."""
        path, start = (self.span.source.path, self.span.start) if self.span else ("", -1)
        return path, start, self.code, self.message


def made(
    name: str,
    span: Span | None,
    values: Mapping[str, object],
    hint: str | None = None,
    labels: Iterable[Label] = (),
    fix: Fix | None = None,
) -> Diagnostic:
    """The diagnostic `name` of the catalogue, filled. Raises KeyError for a name that the catalogue does not hold."""
    entry = rule(name)
    # Here, where they enter, so that no form of a finding can hold what steers it, whoever writes that form.
    texts = {key: _shown(str(value)) for key, value in values.items()}
    return Diagnostic(
        code=entry.code,
        name=name,
        severity=Severity(entry.severity),
        span=span,
        message=entry.message.format_map(texts),
        hint=_shown(hint) if hint is not None else (entry.hint.format_map(texts) if entry.hint else None),
        labels=tuple([Label(label.span, _shown(label.text)) for label in labels]),
        fix=fix,
        subject=texts.get("name" if entry.gathered else entry.once, ""),
    )


def gathered(diagnostics: Iterable[Diagnostic]) -> tuple[Diagnostic, ...]:
    """Findings in order; those of a rule that is told once, or once for the same, are one at their first place."""
    groups: dict[tuple[str, str], list[Diagnostic]] = {}
    result = []
    for item in sorted(diagnostics, key=lambda item: item.sort_key):
        if item.subject:
            same = item.subject if rule(item.name).once else ""
            groups.setdefault((item.name, same), []).append(item)
        else:
            result.append(item)
    result += [_in_one(group) for group in groups.values()]
    return tuple(sorted(result, key=lambda item: item.sort_key))


def _in_one(group: list[Diagnostic]) -> Diagnostic:
    first = group[0]
    names = list(dict.fromkeys(item.subject for item in group))
    spans = dict.fromkeys(item.span for item in group if item.span is not None and item.span != first.span)
    if len(names) == 1:
        return first._replace(places=tuple(spans))
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    shown = ", ".join(f"`{name}`" for name in names[:MOST_NAMED]) + more
    message = rule(first.name).gathered.format_map({"count": len(names), "names": _shown(shown)})
    return first._replace(message=message, places=tuple(spans), subject="")


def _shown(text: str) -> str:
    return foreign.line(text if len(text) <= MOST_CHARACTERS else text[:MOST_CHARACTERS] + "…")


class Diagnostics:
    """The diagnostics of a run, in the order found; a stage adds to it and never prints."""

    def __init__(self) -> None:
        self._found: dict[Diagnostic, None] = {}
        self._told: set[tuple[object, ...]] = set()
        self._unknown: dict[Source, set[str]] = {}
        self._added = 0
        self._errors = 0
        self._distinct_errors = 0
        self._compared = 0
        self._stopped = False

    def add(
        self,
        name: str,
        span: Span | None,
        /,
        *,
        hint: str | None = None,
        labels: Iterable[Label] = (),
        fix: Fix | None = None,
        **values: object,
    ) -> None:
        """Add the diagnostic `name` of the catalogue, its message filled with `values`.

        `hint` replaces the catalogue's own hint. Values, hints and labels become one line each. Raises KeyError for a
        name that the catalogue does not hold (our bug).
        """
        self._add(name, span, values, hint, labels, fix)

    def add_once(
        self,
        name: str,
        span: Span,
        /,
        *,
        hint: str | None = None,
        labels: Iterable[Label] = (),
        fix: Fix | None = None,
        **values: object,
    ) -> None:
        """Add a diagnostic like `add`, unless the same was told at this place, where one value may serve often."""
        key = name, span, tuple(values.items())
        if key in self._told:
            self._added += 1
            self._errors += rule(name).severity == Severity.ERROR
            return
        self._told.add(key)
        self._add(name, span, values, hint, labels, fix)

    def say_nothing_of(self, source: Source, placeholder: str) -> None:
        """Take in no more findings about values where this placeholder stands: they are not known."""
        self._unknown.setdefault(source, set()).add(placeholder)

    def _is_of_unknown(self, name: str, span: Span | None) -> bool:
        if span is None or name in _WHATEVER_VALUES:
            return False
        held = span.source.text[span.start : span.end]
        return any(placeholder in held for placeholder in self._unknown.get(span.source, ()))

    def add_filled(self, name: str, span: Span | None, values: Mapping[str, str]) -> None:
        """Add a diagnostic whose values come from elsewhere as a mapping."""
        self._add(name, span, values, None, (), None)

    def _add(
        self,
        name: str,
        span: Span | None,
        values: Mapping[str, object],
        hint: str | None,
        labels: Iterable[Label],
        fix: Fix | None,
    ) -> None:
        if not (self._unknown and self._is_of_unknown(name, span)):
            self._take(made(name, span, values, hint, labels, fix))

    def _take(self, item: Diagnostic) -> None:
        self._added += 1
        if item.severity is Severity.ERROR:
            self._errors += 1
            self._distinct_errors += item not in self._found
        self._found.setdefault(item)

    def extend(self, diagnostics: Iterable[Diagnostic]) -> None:
        """Add diagnostics found elsewhere."""
        for item in diagnostics:
            self._take(item)

    def keep(self, diagnostics: Iterable[Diagnostic]) -> None:
        """Replace what was found, as when accepted warnings are taken out."""
        self._found = {}
        self._added = self._errors = self._distinct_errors = 0
        self.extend(diagnostics)

    def near(self, word: str, known: Iterable[str]) -> str | None:
        """The known word nearest to `word`, or None; a run that has looked at very many words looks no further."""
        if self._compared > MOST_COMPARED:
            return None
        candidates = tuple(known)
        self._compared += len(candidates)
        return closest(word, candidates)

    def near_hint(self, word: str, known: Iterable[str]) -> str | None:
        """A hint sentence for a near miss, or None."""
        near = self.near(word, known)
        return f"did you mean `{near}`?" if near else None

    def stop(self) -> None:
        """Tell the stages that what was found is enough: a bound of the work is reached."""
        self._stopped = True

    @property
    def stopped(self) -> bool:
        """Whether nothing more need be looked for: a bound is reached, or there are more errors than are shown."""
        # Asked after every step: limits are looked up only where an error can be one too many.
        return self._stopped or (self._errors > 0 and self._has_more_errors_than(limits.in_force().findings))

    def _has_more_errors_than(self, most: int) -> bool:
        """Whether there are more errors than that, or very many that are the same."""
        return self._distinct_errors > most or self._errors > most * REPEATED

    @property
    def whole(self) -> tuple[Diagnostic, ...]:
        """Everything found, once each, ordered by place, however much it is."""
        return tuple(sorted(self._found, key=lambda result: result.sort_key))

    @property
    def all(self) -> tuple[Diagnostic, ...]:
        """What was found, once each, ordered by place, up to the limits of what is shown; what is left out is said.

        Findings of a rule that is told once are gathered in one.
        """
        most = limits.in_force()
        return bounded(gathered(self.whole), most, stopped=self._has_more_errors_than(most.findings))

    @property
    def count_of_all(self) -> int:
        """How many were found so far, repeated ones included."""
        return self._added

    @property
    def has_errors(self) -> bool:
        """Whether any error was found."""
        return self.count_of_errors > 0

    @property
    def count_of_errors(self) -> int:
        """How many errors were found so far, repeated ones included."""
        return self._errors

    def count(self, severity: Severity) -> int:
        """How many of this severity were found."""
        return sum(result.severity is severity for result in self.all)


# Findings about findings, which are never left out.
_ABOUT_FINDINGS = {"more-of-the-same", "too-many-findings"}


def bounded(diagnostics: Iterable[Diagnostic], most: limits.Limits, *, stopped: bool) -> tuple[Diagnostic, ...]:
    """The first findings at each place and of each severity, and what is left out said in their place.

    stopped: whether more errors were found than are shown, the same one perhaps many times.
    """
    kept: list[Diagnostic] = []
    at_places: Counter[tuple[str, Span]] = Counter()
    of_severities: Counter[Severity] = Counter()
    for item in diagnostics:
        if item.name not in _ABOUT_FINDINGS:
            of_severities[item.severity] += 1
            if item.span is not None:
                at_places[item.name, item.span] += 1
                if at_places[item.name, item.span] > most.findings_at_a_place:
                    continue
            if of_severities[item.severity] > most.findings:
                continue
        kept.append(item)
    shown = {(item.name, item.span) for item in kept}
    for (name, span), count in at_places.items():
        if count > most.findings_at_a_place and (name, span) in shown:
            kept.append(made("more-of-the-same", span, {"count": count - most.findings_at_a_place, "name": name}))
    for severity, count in of_severities.items():
        if count > most.findings or (stopped and severity is Severity.ERROR):
            kept.append(made("too-many-findings", None, {"severity": severity.value, "limit": most.findings}))
    return tuple(sorted(dict.fromkeys(kept), key=lambda item: item.sort_key))
