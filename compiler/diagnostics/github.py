"""Diagnostics as workflow commands that GitHub Actions shows beside the changed lines.

The form is that of GitHub's documentation, "Workflow commands for GitHub Actions". An annotation over several lines
carries no columns, since columns count only within one line.
"""

from __future__ import annotations

from collections.abc import Sequence

from plica import foreign
from plica.diagnostics.place import extent
from plica.diagnostics.record import Diagnostic, Severity

_COMMANDS = {Severity.ERROR: "error", Severity.WARNING: "warning", Severity.NOTE: "notice"}


def render(diagnostics: Sequence[Diagnostic]) -> str:
    """One workflow command per line."""
    return "".join(_command(diagnostic) + "\n" for diagnostic in diagnostics)


def _command(diagnostic: Diagnostic) -> str:
    properties: dict[str, object] = {}
    if diagnostic.span:
        at = extent(diagnostic.span)
        properties = {"file": diagnostic.span.source.path, "line": at.line, "endLine": at.end_line}
        if at.line == at.end_line:
            properties |= {"col": at.column, "endColumn": max(at.column, at.end_column - 1)}
    properties["title"] = f"{diagnostic.code} {diagnostic.name}"
    listed = ",".join(f"{key}={foreign.command_property(str(value))}" for key, value in properties.items())
    hint = [f"hint: {diagnostic.hint}"] if diagnostic.hint else []
    return f"::{_COMMANDS[diagnostic.severity]} {listed}::{foreign.command_data(diagnostic.message, *hint)}"
