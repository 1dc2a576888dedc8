"""`plica adopt`: a sculpt that came back, taken in; sculpts carried over."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import plica
from plica.commands.of_project import compiled_or_told
from plica.commands.output import has_errors, in_order, remark, say, show, usage_error
from plica.commands.progress import progress
from plica.errors import PlicaError


def adopt(options: argparse.Namespace) -> int:
    """Take the sculpt in and write its offsets; nothing where it is not certain what it is."""
    if options.over is not None or options.other is not None:
        return _carry_over(options)
    if options.shapes is not None:
        return usage_error("adopt", "--shape goes with --from; give the shape as SHAPE")
    if options.shape is None or options.file is None:
        return usage_error(
            "adopt", "give a SHAPE and a FILE, --over MODEL for all sculpts of the spec, or --from OTHER_SPEC"
        )
    folder = Path(options.spec).parent
    with progress(f"taking in {options.file}"):
        characters = compiled_or_told([options.spec], options.allow)
        if characters is None:
            return 1
        try:
            taken = plica.adopt_sculpt(
                characters[0],
                options.shape,
                options.file,
                record=options.record,
                at=options.at,
                strength=options.strength,
                both_sides=options.both_sides,
                drop_strays=options.drop_strays,
                also=options.also.split(",") if options.also else (),
            )
        except PlicaError as error:
            remark(f"plica adopt: {error}")
            return 1
    diagnostics = taken.diagnostics
    if taken.ok:
        out = Path(options.out) if options.out else folder / taken.file
        if out.exists() and not options.replace:
            return usage_error("adopt", f"`{out.as_posix()}` exists; give --replace to write over it, or another --out")
        diagnostics += taken.write(out)
    shown = in_order(diagnostics)
    show(shown, "text", sys.stderr)
    if has_errors(shown):
        return 1
    say(f"took in {options.file} as {taken.shape}, wrote {out.as_posix()}", *(f"  {one}" for one in taken.sentences))
    fact = "sculpt" if taken.strength == 1.0 else f"inbetween {taken.strength:g}"
    say(f'the spec says of it:  {fact} "{_from(folder, out)}"  {taken.line}'.rstrip())
    return 0


def _carry_over(options: argparse.Namespace) -> int:
    """Carry sculpts over from an old state of the model or another character; all files are written, or none."""
    if options.over is not None and options.other is not None:
        return usage_error("adopt", "--over and --from exclude each other")
    way = "--from" if options.over is None else "--over"
    if options.shape is not None or options.out is not None or options.also is not None:
        return usage_error("adopt", f"{way} carries sculpts over; leave SHAPE, FILE, --out and --also out")
    if options.shapes is not None and options.other is None:
        return usage_error("adopt", "--shape goes with --from; --over carries all sculpts over")
    folder, specs = Path(options.spec).parent, [options.spec, *([options.other] if options.other else [])]
    with progress(f"carrying sculpts over from {options.over or options.other}"):
        characters = compiled_or_told(specs, options.allow)
        if characters is None:
            return 1
        try:
            carried = (
                plica.rebase_sculpts(characters[0], options.over)
                if options.other is None
                else plica.transfer_sculpts(characters[0], characters[1], options.shapes or ())
            )
        except PlicaError as error:
            remark(f"plica adopt: {error}")
            return 1
    there = [name for name in carried.files if (folder / name).exists()]
    if there and not options.replace:
        return usage_error("adopt", f"`{there[0]}` and others exist; give --replace to write over them")
    diagnostics = carried.diagnostics + (carried.write(folder) if carried.ok else ())
    show(in_order(diagnostics), "text", sys.stderr)
    if has_errors(diagnostics):
        return 1
    renamed = (f'the spec is to say "{new}" instead of "{old}"' for old, new in carried.renamed.items())
    say(*carried.sentences, *(f"wrote {name}" for name in carried.files), *renamed)
    return 0


def _from(folder: Path, out: Path) -> str:
    """The file as the spec names it."""
    try:
        return out.resolve().relative_to(folder.resolve()).as_posix()
    except ValueError:
        return out.as_posix()
