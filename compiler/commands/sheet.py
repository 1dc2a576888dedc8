"""`plica sheet`: a character as one page."""

from __future__ import annotations

import argparse
import os
import sys

import plica
from plica.commands.of_project import AroundSpecs
from plica.commands.output import has_errors, in_order, say, show, usage_error
from plica.commands.progress import progress


def sheet(options: argparse.Namespace) -> int:
    """Measure, and write the page. Findings go to the standard error."""
    if os.path.lexists(options.out) and not options.replace:
        return usage_error("sheet", f"`{options.out}` exists; give --replace to write over it")
    projects = AroundSpecs(options.allow)
    with progress(f"the sheet of {options.spec}") as step:
        step("checking")
        made = plica.make_sheet(
            plica.compile_file(options.spec, allow=projects.allow(options.spec)),
            clips=options.clip or projects.clips(options.spec),
            against=options.against,
            measure=not options.unmeasured,
            cache=False if options.no_cache else True if options.cache is None else options.cache,
            workers=options.workers,
            progress=step,
        )
        written = made.write(options.out) if made.ok else ()
    found = (*projects.diagnostics, *projects.accepted(made.diagnostics, options.spec), *written)
    shown = in_order(found)
    show(shown, "text", sys.stderr)
    if has_errors(shown) or not made.ok:
        return 1
    counts = {
        status: sum(one.status == status for one in made.results) for status in ("holds", "fails", "not measured")
    }
    say(
        f"wrote {options.out}: {made.size}, opens in any browser",
        f"  expectations  {counts['holds']} hold, {counts['fails']} fail, {counts['not measured']} not measured",
    )
    return 0
