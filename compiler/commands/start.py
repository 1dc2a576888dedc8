"""`plica start`: a first spec for a model that exists.

The spec is the product and goes to the standard output (or the file asked for); findings go to the standard
error.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from plica.commands.output import has_errors, in_order, put, say, show, usage_error
from plica.commands.progress import progress
from plica.diagnostics import Diagnostics


def start(options: argparse.Namespace) -> int:
    """Write the spec; nothing where the model cannot be read."""
    from plica.start import path_from, start_spec

    out = Path(options.out) if options.out else None
    if out is not None and os.path.lexists(out) and not options.replace:
        return usage_error("start", f"`{options.out}` exists; give --replace to write over it")
    diagnostics = Diagnostics()
    with progress(f"reading {options.model}"):
        # Written to the standard output, the spec is taken to be meant for the current folder.
        geometry = path_from(out.parent if out is not None else Path(), Path(options.model))
        text = start_spec(Path(options.model), diagnostics, geometry)
    if out is not None and not diagnostics.has_errors:
        from plica.emit.writer import write

        write({out.name: text.encode()}, out.parent, diagnostics)
    shown = in_order(diagnostics.all)
    show(shown, options.format, sys.stderr)
    if has_errors(shown):
        return 1
    if out is None:
        put(text)
    else:
        allow = f" --allow {Path(options.model).parent.as_posix()}" if geometry.startswith("../") else ""
        say(f"wrote {options.out}; next: plica check {options.out}{allow}")
    return 0
