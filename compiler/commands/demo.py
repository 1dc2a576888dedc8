"""`plica demo`: the demo character, and the whole job run on it."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Mapping
from pathlib import Path

import plica
from plica.api.contents import contents
from plica.commands.output import has_errors, in_order, say, show, usage_error
from plica.commands.progress import Step, progress
from plica.demo import SPEC, demo_files
from plica.diagnostics import Diagnostics

OUT = "build"


def demo(options: argparse.Namespace) -> int:
    """Write the demo, check it, build it, and say what lies where."""
    folder = Path(options.folder)
    diagnostics = Diagnostics()
    with progress("making the demo") as step:
        data = demo_files()
        problem = None if options.replace else _foreign(folder, data)
        if problem:
            return usage_error("demo", f"{problem}; give --replace to write there all the same, or another folder")
        report = _run(folder, data, diagnostics, step)
    shown = in_order(diagnostics.all)
    show(shown, "text")
    if has_errors(shown):
        return 1
    say(*report)
    return 0


def _foreign(folder: Path, data: Mapping[str, bytes]) -> str | None:
    """Why the demo should not be written to a folder: it holds something else, or files that were changed."""
    from plica.emit.exchange import is_leftover
    from plica.emit.writer import outdated

    try:
        if not folder.exists():
            return None
        if not folder.is_dir():
            return f"`{folder}` is not a folder"
        if all(is_leftover(entry.name) for entry in folder.iterdir()):
            return None
        if not (folder / SPEC).is_file():
            return f"the folder `{folder}` holds other files"
        changed = (path for path in outdated(data, folder) if (folder / path).exists())
        if (first := next(changed, None)) is not None:
            return f"`{(folder / first).as_posix()}` was changed"
    except (OSError, ValueError) as error:
        return f"`{folder}` cannot be used ({getattr(error, 'strerror', None) or error})"
    return None


def _run(folder: Path, data: Mapping[str, bytes], diagnostics: Diagnostics, step: Step) -> list[str]:
    """Write, check and build; the report is empty where there is an error."""
    from plica.emit.writer import write

    step("writing its files")
    if write(data, folder, diagnostics) is None:
        return []
    step("checking")
    character = plica.compile_file(folder / SPEC)
    step("building")
    built = plica.build_files(character, progress=step)
    diagnostics.extend(built.diagnostics)
    if not built.ok:
        return []
    done = plica.write_files(built, folder / OUT, progress=step)
    diagnostics.extend(done.diagnostics)
    return _report(folder, data, contents(character.rig), done.files) if done.ok else []


def _report(folder: Path, data: Mapping[str, bytes], checked: str, built: Iterable[str]) -> list[str]:
    kinds: dict[str, list[str]] = {}
    for path in data:
        kinds.setdefault(path.split("/")[0], []).append(path)
    place = folder.as_posix()
    lines = [f"Wren, the otter who runs the river post, lives in {place}:"]
    known = {
        "wren.glb": "the model: skin and skeleton",
        SPEC: "the spec, the text to read and change",
        "library": "limbs that other characters can use too",
        "sculpts": "shapes sculpted on the posed model",
        "masks": "painted regions",
        "maps": "normal maps of the fur, relaxed and contracted",
        "clips": "motion to try it with",
    }
    for name in sorted(kinds, key=lambda name: (list(known).index(name) if name in known else 99, name)):
        paths = kinds[name]
        what = known.get(name, "more data")
        lines.append(f"  {name:<12} {what}{f' ({len(paths)} files)' if len(paths) > 1 else ''}")
    lines.append(f"  {OUT:<12} what was built from it: {', '.join(built)}")
    lines.append(f"{checked[0].upper()}{checked[1:]}; no errors.")
    lines.append(f"Change {place}/{SPEC} and see what happens: plica check {place}/{SPEC}")
    return lines
