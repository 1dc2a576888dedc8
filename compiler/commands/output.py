"""How findings and other texts reach the user: which form, which stream, with or without colour.

Commands write through these functions alone, so that what others chose (`plica.foreign`) cannot steer a terminal.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from typing import TextIO

from plica import foreign
from plica.diagnostics import Diagnostic, Severity


def in_order(diagnostics: Iterable[Diagnostic]) -> tuple[Diagnostic, ...]:
    """Once each, by place; two specs that use one library find its mistakes twice."""
    seen: dict[tuple[object, ...], Diagnostic] = {}
    for diagnostic in sorted(diagnostics, key=lambda one: one.sort_key):
        end = diagnostic.span.end if diagnostic.span else -1
        seen.setdefault((*diagnostic.sort_key, end), diagnostic)
    return tuple(seen.values())


def has_errors(diagnostics: Iterable[Diagnostic]) -> bool:
    """Whether any finding is an error."""
    return any(diagnostic.severity is Severity.ERROR for diagnostic in diagnostics)


def show(
    diagnostics: tuple[Diagnostic, ...], form: str, stream: TextIO | None = None, *, command: str = "check"
) -> None:
    """Write findings of a command to a stream (default: the standard output) in the form asked for.

    Text and GitHub's commands are nothing for no findings; JSON and SARIF are whole documents all the same.
    """
    stream = stream or sys.stdout
    if form == "json":
        from plica.diagnostics import json_form

        stream.write(json_form.render(diagnostics))
    elif form == "sarif":
        from plica.diagnostics import sarif

        stream.write(sarif.render(diagnostics, command))
    elif form == "github":
        from plica.diagnostics import github

        stream.write(github.render(diagnostics))
    elif diagnostics:
        from plica.diagnostics import text

        stream.write(text.render(diagnostics, colour=wants_colour(stream)))


def say(*lines: str, form: str = "text") -> None:
    """Write lines for people to the standard output; nothing where a form for programs was asked for."""
    if form == "text":
        sys.stdout.write(foreign.lines(lines))


def remark(*lines: str) -> None:
    """Write lines for people to the standard error."""
    sys.stderr.write(foreign.lines(lines))


def put(document: str) -> None:
    """Write to the standard output what was rendered in its form already."""
    sys.stdout.write(document)


def wants_colour(stream: TextIO) -> bool:
    """On a terminal that can, unless NO_COLOR is set (the convention of no-color.org)."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def usage_error(command: str, message: str) -> int:
    """Say on the standard error what was wrong with the command line; gives the exit code."""
    remark(f"plica {command}: {message}")
    return 2
