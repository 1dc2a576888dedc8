"""`plica watch`: check or build again whenever something is saved."""

from __future__ import annotations

import argparse
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import plica
from plica.api.contents import contents
from plica.commands.of_project import AroundSpecs
from plica.commands.output import has_errors, in_order, put, say, show, usage_error, wants_colour
from plica.commands.progress import progress

if TYPE_CHECKING:
    from plica.api.watching import Rebuild, Watcher

MOST_NAMED = 3


def watch(options: argparse.Namespace) -> int:
    """Build now and after every change, until the user stops it."""
    spec = Path(options.spec)
    if not spec.is_file():
        return usage_error("watch", f"there is no file `{options.spec}`")
    if options.target and options.out is None:
        return usage_error("watch", "--target needs --out, the folder to write to")
    targets = {"targets": options.target} if options.target else {}
    projects = AroundSpecs(options.allow)
    allow = projects.allow(options.spec)
    if has_errors(projects.diagnostics):
        show(in_order(projects.diagnostics), "text")
        return 1
    clips = projects.clips(options.spec) if options.prove else ()
    watcher = plica.watch_spec(spec, folder=options.out, allow=allow, prove=options.prove, clips=clips, **targets)
    changed: tuple[Path, ...] = ()
    while True:
        with progress(f"building {spec}") as step:
            rebuild = watcher.rebuild(changed, step)
        _tell(rebuild, spec)
        sys.stdout.flush()
        if options.prove:
            _prove(watcher, rebuild, projects)
        if not changed:
            say(f"watching {len(rebuild.watched)} files; stop with Ctrl-C")
        sys.stdout.flush()
        changed = watcher.wait()
        say("", f"{_named(changed)} changed")


def _prove(watcher: Watcher, rebuild: Rebuild, projects: AroundSpecs) -> None:
    """The expectations that hang on what was saved; what was kept by others is counted."""
    with progress("proving") as step:
        proof = watcher.proven(rebuild, step).proof
    if proof is None:
        if rebuild.ok and rebuild.character.rig is not None:
            say("a file was saved while the expectations were measured; they are measured with it")
        return
    if proof.report.stopped:
        raise KeyboardInterrupt
    show(in_order(projects.accepted(proof.report.diagnostics, rebuild.character.file)), "text")
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    if proof.touched:
        put(proof.text(width, wants_colour(sys.stdout)) + "\n")
    say(proof.summary)


def _named(changed: tuple[Path, ...]) -> str:
    names = [path.name for path in changed[:MOST_NAMED]]
    more = len(changed) - len(names)
    return ", ".join(names) + (f" and {more} more" if more > 0 else "")


def _tell(rebuild: Rebuild, spec: Path) -> None:
    """How a build went."""
    show(in_order(rebuild.diagnostics), "text")
    if not rebuild.ok:
        say(f"{spec}: not built, because of the mistakes above; {rebuild.seconds:.2f} s")
        return
    character = rebuild.character
    checked = "checked as a library" if character.is_library else contents(character.rig)
    say(f"{spec}: {checked}; {_written(rebuild)}{rebuild.seconds:.2f} s")
    if rebuild.comparison is not None:
        put(rebuild.comparison.rendered("text", wants_colour(sys.stdout)))


def _written(rebuild: Rebuild) -> str:
    """Which files were written; those that are as they were are left alone."""
    if rebuild.written is None:
        return ""
    return f"wrote {', '.join(rebuild.written)}; " if rebuild.written else "no output changed; "
