"""The one diagnostic record, and the list that a stage adds to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import NamedTuple

from plica import foreign
from plica.diagnostics.catalogue import rule
from plica.source import Span


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
    """

    code: str
    name: str
    severity: Severity
    span: Span | None
    message: str
    hint: str | None = None
    labels: tuple[Label, ...] = ()
    fix: Fix | None = None

    @property
    def sort_key(self) -> tuple[str, int, str, str]:
        """Orders by file, place, code and message, so that output does not depend on the order of checks."""
        path, start = (self.span.source.path, self.span.start) if self.span else ("", -1)
        return path, start, self.code, self.message


class Diagnostics:
    """The diagnostics of a run, in the order found; a stage adds to it and never prints."""

    def __init__(self) -> None:
        self._found: list[Diagnostic] = []
        self._errors = 0

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
        entry = rule(name)
        severity = Severity(entry.severity)
        self._errors += severity is Severity.ERROR
        # Here, where they enter, so that no form of a finding can hold what steers it, whoever writes that form.
        texts = {key: foreign.line(str(value)) for key, value in values.items()}
        self._found.append(
            Diagnostic(
                code=entry.code,
                name=name,
                severity=severity,
                span=span,
                message=entry.message.format_map(texts),
                hint=foreign.line(hint) if hint is not None else (entry.hint.format_map(texts) if entry.hint else None),
                labels=tuple(Label(label.span, foreign.line(label.text)) for label in labels),
                fix=fix,
            )
        )

    def extend(self, found: Iterable[Diagnostic]) -> None:
        """Add diagnostics found elsewhere."""
        self.keep([*self._found, *found])

    def keep(self, found: Iterable[Diagnostic]) -> None:
        """Replace what was found, as when accepted warnings are taken out."""
        self._found = list(found)
        self._errors = sum(item.severity is Severity.ERROR for item in self._found)

    @property
    def all(self) -> tuple[Diagnostic, ...]:
        """Everything found, once each, ordered by place."""
        return tuple(sorted(dict.fromkeys(self._found), key=lambda found: found.sort_key))

    @property
    def count_of_all(self) -> int:
        """How many were found so far, repeated ones included."""
        return len(self._found)

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
        return sum(found.severity is severity for found in self.all)
