"""`plica picture`: the skin as a camera sees it, as a file."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

import plica
from plica.commands.of_project import compiled_or_told
from plica.commands.output import has_errors, in_order, remark, say, show, usage_error
from plica.commands.progress import progress
from plica.errors import PlicaError


def picture(options: argparse.Namespace) -> int:
    """Write the picture. Findings of the spec, the mesh and the maps go to the standard error."""
    out = Path(options.out)
    if os.path.lexists(out) and not options.replace:
        return usage_error("picture", f"`{options.out}` exists; give --replace to write over it")
    with progress(f"drawing {options.spec}") as step:
        step("checking the spec")
        characters = compiled_or_told([options.spec], options.allow)
        if characters is None:
            return 1
        try:
            drawn = plica.draw_skin(
                characters[0],
                at=options.at,
                pose=options.pose,
                clip=options.clip,
                time=options.time,
                worst=options.worst,
                sweep=options.sweep,
                frames=options.frames,
                standpoint=options.standpoint,
                look_at=options.look_at,
                whole=options.whole,
                size=options.size,
                shapes=not options.bare,
                tinted=options.tint,
                moving=options.moving,
                progress=step,
            )
            written = drawn.write(out)
        except PlicaError as error:
            remark(f"plica picture: {error}")
            return 1
    shown = in_order((*drawn.diagnostics, *written))
    show(shown, "text", sys.stderr)
    if has_errors(written):
        return 1
    columns, rows = drawn.size
    say(f"wrote {options.out}: {columns} x {rows} pixels", *(f"  {words}" for words in drawn.said))
    return 1 if has_errors(shown) else 0
