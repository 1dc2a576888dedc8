"""What one piece of a project's work gave, and its form as JSON in the cache."""

from __future__ import annotations

from typing import Any, NamedTuple

from plica.diagnostics import Diagnostic, Fix, Label, Severity
from plica.diagnostics.catalogue import rule
from plica.source import Source, Span


class Outcome(NamedTuple):
    """What is told of one spec.

    diagnostics: its findings; lines: what else is said of it, the last one of which sums it up; documents: parts of
    outputs, each with the name of its form; failed: whether it is not as it should be although no finding is an error;
    unfinished: why nothing can be said for another run, "" for no reason; crash: the traceback of a mistake of
    Plica's own.
    """

    diagnostics: tuple[Diagnostic, ...] = ()
    lines: tuple[str, ...] = ()
    documents: tuple[tuple[str, str], ...] = ()
    failed: bool = False
    unfinished: str = ""
    crash: str = ""

    def document(self, form: str) -> str | None:
        """The document of a form, None for none."""
        return dict(self.documents).get(form)

    @property
    def is_good(self) -> bool:
        """Whether nothing stands against it; warnings and notes do not."""
        return not (self.failed or self.crash or any(one.severity is Severity.ERROR for one in self.diagnostics))


def written(outcome: Outcome) -> dict[str, Any]:
    """An outcome as plain data; texts that findings point into are part of it, each once."""
    sources: dict[Source, int] = {}
    findings = [_written_finding(one, sources) for one in outcome.diagnostics]
    return {
        "sources": [[source.path, source.text] for source in sources],
        "findings": findings,
        "lines": list(outcome.lines),
        "documents": outcome.documents,
        "failed": outcome.failed,
    }


def read(held: Any) -> Outcome:
    """The outcome that plain data hold. Raises ValueError, KeyError, TypeError or IndexError where they hold none."""
    sources = [Source(_text(path), _text(text)) for path, text in held["sources"]]
    return Outcome(
        tuple(_read_finding(one, sources) for one in held["findings"]),
        tuple(map(_text, held["lines"])),
        tuple((_text(form), _text(document)) for form, document in held["documents"]),
        held["failed"] is True,
    )


def _written_finding(one: Diagnostic, sources: dict[Source, int]) -> list[Any]:
    def place(span: Span | None) -> list[int] | None:
        return None if span is None else [sources.setdefault(span.source, len(sources)), span.start, span.end]

    labels = [[place(label.span), label.text] for label in one.labels]
    fix = None if one.fix is None else [place(one.fix.span), one.fix.replacement]
    return [one.name, one.severity.value, place(one.span), one.message, one.hint, labels, fix]


def _read_finding(held: Any, sources: list[Source]) -> Diagnostic:
    def span(place: Any) -> Span:
        number, start, end = place
        if not all(type(one) is int and one >= 0 for one in (number, start, end)):
            raise ValueError("no place")
        source = sources[number]
        if not start <= end <= len(source.text):
            raise ValueError("a place outside its text")
        return Span(source, start, end)

    name, severity, place, message, hint, labels, fix = held
    return Diagnostic(
        code=rule(_text(name)).code,
        name=name,
        severity=Severity(severity),
        span=None if place is None else span(place),
        message=_text(message),
        hint=None if hint is None else _text(hint),
        labels=tuple(Label(span(where), _text(text)) for where, text in labels),
        fix=None if fix is None else Fix(span(fix[0]), _text(fix[1])),
    )


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("not a text")
    return value
