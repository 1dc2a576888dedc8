"""`plica watch`: check or build again whenever something is saved."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from time import perf_counter, sleep
from typing import TYPE_CHECKING

from plica.commands.check import contents
from plica.commands.output import in_order, say, show, usage_error
from plica.commands.progress import progress
from plica.diagnostics import Diagnostics

if TYPE_CHECKING:
    from plica.emit.incremental import Rebuilder, Rebuilt

LOOK_SECONDS = 0.05  # how often the files are looked at
SETTLE_SECONDS = 0.02  # how long they must stay as they are: some editors write in several steps
MOST_NAMED = 3


def watch(options: argparse.Namespace) -> int:
    """Build now and after every change, until the user stops it."""
    from plica.emit.artifacts import DEFAULT_TARGETS, Request
    from plica.emit.incremental import Rebuilder

    spec = Path(options.spec)
    if not spec.is_file():
        return usage_error("watch", f"there is no file `{options.spec}`")
    if options.target and options.out is None:
        return usage_error("watch", "--target needs --out, the folder to write to")
    targets = tuple(dict.fromkeys(options.target)) or DEFAULT_TARGETS
    requests = [Request(target) for target in targets] if options.out is not None else []
    out = Path(options.out) if options.out is not None else None
    rebuilder = Rebuilder(spec, requests, options.allow)
    _build(rebuilder, spec, out)
    say(f"watching {len(rebuilder.files)} files; stop with Ctrl-C")
    while True:
        sys.stdout.flush()
        _wait(rebuilder.changes)
        changed = rebuilder.changes()
        say("", f"{_named(changed)} changed")
        _build(rebuilder, spec, out)


def _wait(changes: Callable[[], list[Path]]) -> None:
    """Return once something has changed and nothing is being written any more."""
    from plica.mesh.computed_cache import stamp

    while not (changed := changes()):
        sleep(LOOK_SECONDS)
    before = None
    while (now := [stamp(path) for path in changed]) != before:
        before = now
        sleep(SETTLE_SECONDS)


def _named(changed: list[Path]) -> str:
    names = [path.name for path in changed[:MOST_NAMED]]
    more = len(changed) - len(names)
    return ", ".join(names) + (f" and {more} more" if more > 0 else "")


def _build(rebuilder: Rebuilder, spec: Path, out: Path | None) -> None:
    """Build, write, and say how it went."""
    start = perf_counter()
    with progress(f"building {spec}") as step:
        rebuilt = rebuilder.rebuild(step)
    diagnostics = Diagnostics()
    diagnostics.extend(rebuilt.diagnostics)
    line = _written(rebuilt, out, diagnostics) if rebuilt.files is not None and out is not None else ""
    show(in_order(diagnostics.all), "text")
    seconds = perf_counter() - start
    if diagnostics.has_errors or rebuilt.files is None:
        say(f"{spec}: not built, because of the mistakes above; {seconds:.2f} s")
        return
    library = rebuilt.compiled is not None and rebuilt.compiled.is_library
    checked = "checked as a library" if library else contents(rebuilt.compiled.rig if rebuilt.compiled else None)
    say(f"{spec}: {checked}; {line}{seconds:.2f} s")


def _written(rebuilt: Rebuilt, out: Path, diagnostics: Diagnostics) -> str:
    """Write the files and say which; those that are as they were are left alone."""
    from plica.emit.publish import publish

    done = None if rebuilt.files is None else publish(rebuilt.files, out, diagnostics)
    if done is None:
        return ""
    return f"wrote {', '.join(done.written)}; " if done.written else "no output changed; "
