"""`plica pose`: the skin in a pose, as a file to sculpt on."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

import plica
from plica.commands.of_project import compiled_or_told
from plica.commands.output import has_errors, in_order, remark, say, show, usage_error
from plica.commands.progress import progress
from plica.commands.sculpt_options import UNITS_OF_FILES
from plica.errors import PlicaError


def pose(options: argparse.Namespace) -> int:
    """Write the mesh and its record. Findings of the spec and the mesh go to the standard error."""
    out = Path(options.out)
    if os.path.lexists(out) and not options.replace:
        return usage_error("pose", f"`{options.out}` exists; give --replace to write over it")
    with progress(f"posing {options.spec}") as step:
        step("checking the spec")
        characters = compiled_or_told([options.spec], options.allow)
        if characters is None:
            return 1
        try:
            posed = plica.pose_skin(
                characters[0],
                options.shape,
                at=options.at,
                pose=options.pose,
                clip=options.clip,
                time=options.time,
                worst=options.worst,
                strength=options.strength,
                both_sides=options.both_sides,
                on=_names(options.on),
            )
            metres = UNITS_OF_FILES[options.unit]
            written = posed.write(out, metres=metres, up=options.up, welded=options.welded)
        except PlicaError as error:
            remark(f"plica pose: {error}")
            return 1
    shown = in_order((*posed.mesh.diagnostics, *written))
    show(shown, "text", sys.stderr)
    if has_errors(written):
        return 1
    record = posed.record
    on = ", ".join(f"{name} {strength:.3g}" for name, strength in record.shapes.items()) or "none"
    count = posed.mesh.mesh.point_count if options.welded else posed.mesh.mesh.vertex_count
    say(
        f"wrote {options.out}: {count} vertices in {options.unit}, {options.up} up",
        f"  pose       {record.said}",
        f"  shapes on  {on}",
    )
    if record.shape is not None:
        say(f"when it is sculpted: plica adopt {options.spec} {record.shape} {options.out}")
    return 1 if has_errors(shown) else 0


def _names(text: str | None) -> list[str] | None:
    if text is None:
        return None
    return [] if text == "none" else [name.strip() for name in text.split(",") if name.strip()]
