"""`plica measure`: the span of every driver's reading in real motion."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from plica.commands.output import has_errors, in_order, put, show
from plica.commands.progress import progress
from plica.diagnostics import Diagnostics

if TYPE_CHECKING:
    from plica.prove.spans import Travels


def measure(options: argparse.Namespace) -> int:
    """Read the clips and tell the spans. The report goes to the standard output, findings to the standard error."""
    diagnostics = Diagnostics()
    with progress(f"measuring {options.spec}") as step:
        step("checking the spec")
        travels = _travels(options, diagnostics)
    shown = in_order(diagnostics.all)
    show(shown, "text", sys.stderr)
    if has_errors(shown) or travels is None:
        return 1
    from plica.prove.report.spans import json_text, text

    put(json_text(travels) if options.format == "json" else text(travels))
    return 0


def _travels(options: argparse.Namespace, diagnostics: Diagnostics) -> Travels | None:
    from plica.pipeline import compile_file
    from plica.prove.spans import cut_clip, measure_travels, report_travels
    from plica.readers.clip_reader import find_clips

    compiled = compile_file(Path(options.spec), options.allow)
    errors = Diagnostics()
    errors.extend(compiled.diagnostics)
    if errors.has_errors:
        diagnostics.extend(compiled.diagnostics)
    if compiled.rig is None:
        if not errors.has_errors:
            diagnostics.add("nothing-to-build", None, file=options.spec)
        return None
    clips = [
        cut_clip(clip, options.start, options.stop)
        for file in options.clip
        for clip in find_clips(Path(file), file, None, diagnostics)
    ]
    if diagnostics.has_errors:
        return None
    span_of = {name: span for (kind, name), span in compiled.origins.items() if kind == "driver"}
    travels = measure_travels(compiled.rig, clips, diagnostics, span_of)
    if not travels.clips:
        diagnostics.add("no-frames", None, clips=", ".join(options.clip))
        return None
    report_travels(travels, diagnostics, span_of)
    return travels
