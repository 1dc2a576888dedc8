"""`plica diff`: what a change does."""

from __future__ import annotations

import argparse
import gc
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from plica.commands.output import has_errors, in_order, put, say, show, usage_error, wants_colour
from plica.commands.progress import progress
from plica.diagnostics import Diagnostics

if TYPE_CHECKING:
    from plica.diff.report import Report

CANNOT_COMPARE = 2  # as with the diff utility of POSIX.1: 0 alike, 1 different, above 1 an error


def diff(options: argparse.Namespace) -> int:
    """Compare, show what changed; 0 where nothing did or all of it was accepted, and all could be compared."""
    collects = gc.isenabled()
    gc.disable()  # as for a check: there is no garbage worth the looking
    try:
        return _diff(options)
    finally:
        if collects:
            gc.enable()


def _diff(options: argparse.Namespace) -> int:
    if options.git_driver is not None:
        return _for_git(options)
    if options.new is None:
        return usage_error("diff", "give two things to compare, OLD and NEW, as in `plica diff git:HEAD wren.plica`")
    diagnostics = Diagnostics()
    with progress(f"comparing {options.old} and {options.new}") as step:
        step("comparing")
        report = _compared(options, diagnostics)
    if report is None:
        show(in_order(diagnostics.all), "text", sys.stderr)
        return CANNOT_COMPARE
    show(in_order(diagnostics.all), "text", sys.stderr)
    put(rendered(report, options.format))
    if report.changes:
        return 1
    return CANNOT_COMPARE if report.unmeasured else 0


def _compared(options: argparse.Namespace, diagnostics: Diagnostics) -> Report | None:
    """The report, what was accepted taken out; None after diagnostics."""
    from plica.diff.acceptances import read_acceptances, report_unused
    from plica.diff.character_states import Options, read_both
    from plica.diff.report import compare, with_accepted
    from plica.workspace import Refused, read_text

    reasons: dict[str, str] = {}
    if options.accept is not None:
        text = read_text(Path(options.accept), options.accept)
        if isinstance(text, Refused):
            diagnostics.add_filled(text.name, None, text.values)
        else:
            reasons = read_acceptances(text, options.accept, diagnostics)
    with ExitStack() as mirrors:
        old, new = read_both(options.old, options.new, Options(options.allow, options.measure), diagnostics, mirrors)
        if has_errors(diagnostics.all):
            return None
        report = with_accepted(compare(old, new), reasons)
    if options.accept is not None:
        report_unused(report, reasons, options.accept, diagnostics)
    return report


def rendered(report: Report, form: str) -> str:
    """The report in the form asked for."""
    if form == "json":
        from plica.diff import json_report as json_form

        return json_form.render(report)
    if form == "markdown":
        from plica.diff import markdown_report as markdown

        return markdown.render(report)
    if form in ("sarif", "github"):
        from plica.diff import diagnostics_report as findings

        return findings.render_sarif(report) if form == "sarif" else findings.render_github(report)
    from plica.diff import text_report as text

    return text.render(report, colour=wants_colour(sys.stdout))


def _for_git(options: argparse.Namespace) -> int:
    """What git shows instead of lines. Always 0: git takes anything else for a breakdown."""
    from plica.diff.git_driver import shown
    from plica.diff.git_states import GitFile

    given = options.git_driver
    if len(given) == 1:  # git names a path that could not be merged, and nothing else
        say(f"{given[0]}: not merged")
        return 0
    if len(given) < 7:
        return usage_error("diff", "--git-driver takes what git gives to an external diff, seven words or more")
    path, old, old_blob, _, new, new_blob = given[:6]
    files = GitFile(path, old_blob, Path(old)), GitFile(given[7] if len(given) > 7 else path, new_blob, Path(new))
    put(shown(*files, options.allow, wants_colour(sys.stdout)))
    return 0
