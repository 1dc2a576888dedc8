"""`plica check`: everything short of measuring."""

from __future__ import annotations

import argparse
import gc
from typing import TYPE_CHECKING

import plica
from plica.commands.output import has_errors, in_order, say, show
from plica.diagnostics.place import counted

if TYPE_CHECKING:
    from plica.rig.rig import Rig


def check(options: argparse.Namespace) -> int:
    """Check each spec, show what was found in all of them, and a line for each that has no error."""
    collects = gc.isenabled()
    gc.disable()  # so short a run has no garbage worth the looking, which takes a twentieth of it
    try:
        return _check(options)
    finally:
        if collects:
            gc.enable()


def _check(options: argparse.Namespace) -> int:
    compiled = [(spec, plica.compile_file(spec, allow=options.allow)) for spec in dict.fromkeys(options.specs)]
    diagnostics = in_order(diagnostic for _, one in compiled for diagnostic in one.diagnostics)
    show(diagnostics, options.format)
    for spec, one in compiled:
        if has_errors(one.diagnostics):
            continue
        if options.axes and one.rig is not None:
            from plica.commands.axes import table

            say(*table(one.rig), form=options.format)
        say(*one.stance, form=options.format)
        checked = "checked as a library of other specs" if one.is_library else contents(one.rig)
        if one.pairing is not None and one.pairing.sided:
            checked += f"; {one.pairing}"
        say(f"{spec}: {checked}; no errors", form=options.format)
    return 1 if has_errors(diagnostics) else 0


def contents(rig: Rig | None) -> str:
    """What was checked: how much of each kind; kinds that there are none of are left out."""
    if rig is None:
        return "checked"
    counts = {
        "joint": len(rig.skeleton),
        "strength": len(rig.strengths),
        "region": len(rig.regions),
        "shape": len(rig.shapes),
        "detail": len(rig.details),
        "fold": len(rig.folds),
        "pose": len(rig.poses),
        "expectation": len(rig.expectations),
    }
    listed = [counted(number, noun) for noun, number in counts.items() if number]
    if len(listed) > 1:
        listed[-2:] = [f"{listed[-2]} and {listed[-1]}"]
    method, geometry = rig.character.skinning, rig.character.geometry
    said = [f"checked {', '.join(listed)}" if listed else "checked"]
    if method != "linear":
        said.append(f"{method} skin")
    if geometry is not None and geometry.unit not in (None, 1.0):
        said.append(f"one length of {geometry.file} is {geometry.unit:g} m")
    return "; ".join(said)
