"""`plica diff`: what a change does."""

from __future__ import annotations

import argparse
import gc
import sys
from pathlib import Path

import plica
from plica.api.found_project import find_project
from plica.commands.output import in_order, put, say, show, usage_error, wants_colour
from plica.commands.progress import progress

_FOR_TOOLS = ("json", "sarif", "github")  # forms that are whole also where nothing could be compared
CANNOT_COMPARE = 2  # as with the diff utility of POSIX.1: 0 alike, 1 different, above 1 an error


def diff(options: argparse.Namespace) -> int:
    """Compare, show what changed; 0 where nothing did, or all of it was accepted; 2 where a side could not be read, a
    character of the new one does not compile, or no change was found but not all could be compared.
    """
    collects = gc.isenabled()
    gc.disable()  # as for a check: there is no garbage worth the looking
    try:
        return _diff(options)
    finally:
        if collects:
            gc.enable()


def _diff(options: argparse.Namespace) -> int:
    if options.git_driver is not None:
        return _for_git(options)
    found = find_project(_place(options.new or options.old))
    if options.new is None and found.root is None:
        return usage_error("diff", "give two things to compare, OLD and NEW, as in `plica diff git:HEAD wren.plica`")
    old = options.old or "git:HEAD"
    new = options.new if options.new is not None or found.root is None else found.shown(found.root)
    accept = options.accept or (found.project.accepted_changes if found.project is not None else None)
    with progress(f"comparing {old} and {new}") as step:
        step("comparing")
        allow = [*options.allow, *found.allow]
        cache = False if options.no_cache else True if options.cache is None else options.cache
        comparison = plica.compare_characters(
            old,
            new,
            allow=allow,
            measure=options.measure,
            accept=accept,
            cache=cache,
            pictures=options.pictures,
            progress=step,
        )
    show(in_order((*found.diagnostics, *comparison.diagnostics)), "text", sys.stderr)
    if comparison.ok or options.format in _FOR_TOOLS:
        put(comparison.rendered(options.format, wants_colour(sys.stdout), options.whole))
    if not found.ok or not comparison.compiles:
        return CANNOT_COMPARE
    if comparison.changes:
        return 1
    return 0 if comparison.alike else CANNOT_COMPARE


def _place(given: str | None) -> Path:
    """The folder whose project counts: of what is compared, else the working folder."""
    if given is None or given.startswith("git:"):
        return Path()
    place = Path(given)
    return place if place.is_dir() else place.parent


def _for_git(options: argparse.Namespace) -> int:
    """What git shows instead of lines. Always 0: git takes anything else for a breakdown."""
    from plica.diff.git_driver import shown
    from plica.diff.git_states import GitFile

    given = options.git_driver
    if len(given) == 1:  # git names a path that could not be merged, and nothing else
        say(f"{given[0]}: not merged")
        return 0
    if len(given) < 7:
        return usage_error("diff", "--git-driver takes what git gives to an external diff, seven words or more")
    path, old, old_blob, _, new, new_blob = given[:6]
    files = GitFile(path, old_blob, Path(old)), GitFile(given[7] if len(given) > 7 else path, new_blob, Path(new))
    put(shown(*files, [*options.allow, *find_project(Path(path).parent).allow], wants_colour(sys.stdout)))
    return 0
