"""`plica draft`: first sculpts that the skin computes."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import plica
from plica.commands.of_project import compiled_or_told
from plica.commands.output import has_errors, in_order, remark, say, show
from plica.commands.progress import progress
from plica.errors import PlicaError


def draft(options: argparse.Namespace) -> int:
    """Compute the sculpts and write them; those that cannot be are told, and nothing is written then."""
    with progress(f"drafting {options.spec}") as step:
        step("checking the spec")
        characters = compiled_or_told([options.spec], options.allow)
        if characters is None:
            return 1
        try:
            made = plica.draft_sculpts(
                characters[0],
                options.shapes,
                region=options.region,
                volume=options.volume,
                nearness=options.nearness,
                border=options.border,
                gap=options.gap,
                inbetweens=options.inbetweens,
                contact=options.contact,
                progress=step,
            )
        except PlicaError as error:
            remark(f"plica draft: {error}")
            return 1
        diagnostics = made.diagnostics
        if made.ok:
            diagnostics += made.write(Path(options.spec).parent)
    written = None if has_errors(diagnostics) or not options.into_spec else made.write_spec()
    shown = in_order((*diagnostics, *(written or ())))
    show(shown, "text", sys.stderr)
    if has_errors(shown):
        return 1
    for one in made.drafts:
        say(f"drafted {one.shape}", *(f"  {sentence}" for sentence in one.sentences))
        say(*(f"wrote {name}" for name in one.files))
        if written is None and (one.lines or one.obsolete):
            say(f"the spec is to say of {one.declared}:", *(f"    {line}" for line in one.lines))
            say(*(f"  and no more:\n    {line}" for line in one.obsolete))
    if written is not None:
        say(f"{options.spec} says so")
    elif options.into_spec:
        remark(f"{options.spec} does not declare each of these shapes just once, so it was left as it is")
    return 0
