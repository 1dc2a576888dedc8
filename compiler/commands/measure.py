"""`plica measure`: the span of every driver's reading in real motion."""

from __future__ import annotations

import argparse
import sys

import plica
from plica.commands.of_project import AroundSpecs
from plica.commands.output import has_errors, in_order, put, show
from plica.commands.progress import progress


def measure(options: argparse.Namespace) -> int:
    """Read the clips and tell the spans. The report goes to the standard output, findings to the standard error."""
    projects = AroundSpecs(options.allow)
    with progress(f"measuring {options.spec}") as step:
        step("checking the spec")
        character = plica.compile_file(options.spec, allow=projects.allow(options.spec))
        report = plica.measure_clips(
            character, options.clip, start=options.start, stop=options.stop, stance_at=options.stance_at
        )
    shown = in_order((*projects.diagnostics, *report.diagnostics, *(() if character.ok else character.diagnostics)))
    show(shown, "text", sys.stderr)
    if has_errors(shown) or report.travels is None:
        return 1
    put(report.json() if options.format == "json" else report.text())
    return 0
