"""`plica start`: a first spec for a model that exists.

The spec is the product and goes to the standard output (or the file asked for); findings go to the standard
error.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from plica.commands.output import has_errors, in_order, say, show, usage_error
from plica.commands.progress import progress
from plica.diagnostics import Diagnostics


def start(options: argparse.Namespace) -> int:
    """Write the spec; nothing where the model cannot be read."""
    from plica.start import start_spec

    out = Path(options.out) if options.out else None
    if out is not None and out.exists() and not options.replace:
        return usage_error("start", f"`{options.out}` exists; give --replace to write over it")
    found = Diagnostics()
    with progress(f"reading {options.model}"):
        text = start_spec(Path(options.model), found)
    if out is not None and not found.has_errors:
        from plica.build.writer import write

        write({out.name: text.encode()}, out.parent, found)
    shown = in_order(found.all)
    show(shown, options.format, sys.stderr)
    if has_errors(shown):
        return 1
    if out is None:
        sys.stdout.write(text)
    else:
        say(f"wrote {options.out}; next: plica check {options.out}")
    return 0
