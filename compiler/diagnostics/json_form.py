"""Diagnostics as JSON, for other programs.

The document is `{"format": "plica-diagnostics", "version": 1, "diagnostics": [...], "counts": {...}}`. A
diagnostic has `code`, `name`, `severity` (`error`, `warning`, `note`), `message`, `hint` (text or null),
`place` (or null), `places` (of a finding that stands for several, those of the others), `labels` (a list of
`place` and `text`) and `fix` (`place` and `replacement`, or null). A place has `file` (as the user wrote it,
forward slashes), `start` and `end`, each with `line` and `column` from 1 and `offset` from 0, all in code
points; `end` is one past the last character. Keys are only ever added within a version.
"""

from __future__ import annotations

from collections.abc import Sequence

from plica import foreign
from plica.diagnostics.place import extent
from plica.diagnostics.record import Diagnostic, Severity
from plica.source import Span

FORMAT = "plica-diagnostics"
VERSION = 1


def render(diagnostics: Sequence[Diagnostic]) -> str:
    """The JSON document."""
    return foreign.json_document(document(diagnostics))


def document(diagnostics: Sequence[Diagnostic]) -> dict[str, object]:
    """The document as plain values."""
    severities = [diagnostic.severity for diagnostic in diagnostics]
    return {
        "format": FORMAT,
        "version": VERSION,
        "diagnostics": entries(diagnostics),
        "counts": {severity.value: severities.count(severity) for severity in Severity},
    }


def entries(diagnostics: Sequence[Diagnostic]) -> list[dict[str, object]]:
    """Each diagnostic as plain values, as in the document."""
    return [_entry(diagnostic) for diagnostic in diagnostics]


def _entry(diagnostic: Diagnostic) -> dict[str, object]:
    fix = diagnostic.fix
    return {
        "code": diagnostic.code,
        "name": diagnostic.name,
        "severity": diagnostic.severity.value,
        "message": diagnostic.message,
        "hint": diagnostic.hint,
        "place": _place(diagnostic.span) if diagnostic.span else None,
        "places": [_place(span) for span in diagnostic.places],
        "labels": [{"place": _place(label.span), "text": label.text} for label in diagnostic.labels],
        "fix": {"place": _place(fix.span), "replacement": fix.replacement} if fix else None,
    }


def _place(span: Span) -> dict[str, object]:
    at = extent(span)
    return {
        "file": span.source.path,
        "start": {"line": at.line, "column": at.column, "offset": span.start},
        "end": {"line": at.end_line, "column": at.end_column, "offset": span.end},
    }
