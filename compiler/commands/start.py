"""`plica start`: a first spec for a model that exists.

The spec is the product and goes to the standard output (or the file asked for); findings go to the standard
error.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

import plica
from plica.commands.output import has_errors, in_order, put, remark, say, show, usage_error
from plica.commands.progress import progress


def start(options: argparse.Namespace) -> int:
    """Write the spec; nothing where the model cannot be read."""
    out = Path(options.out) if options.out else None
    if out is not None and os.path.lexists(out) and not options.replace:
        return usage_error("start", f"`{options.out}` exists; give --replace to write over it")
    with progress(f"reading {options.model}"):
        # Written to the standard output, the spec is taken to be meant for the current folder.
        started = plica.start_spec(options.model, folder=out.parent if out is not None else ".")
    diagnostics = started.diagnostics
    if out is not None and started.ok:
        diagnostics += started.write(out)
    shown = in_order(diagnostics)
    show(shown, options.format, sys.stderr, command="start")
    if has_errors(shown):
        return 1
    if started.pairing is not None and started.pairing.sided:
        remark(str(started.pairing))
    remark(*started.said)
    if out is None:
        put(started.text)
    else:
        allow = f" --allow {Path(options.model).parent.as_posix()}" if started.geometry.startswith("../") else ""
        say(f"wrote {options.out}; next: plica check {options.out}{allow}")
    return 0
