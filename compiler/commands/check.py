"""`plica check`: everything short of measuring."""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Sequence
from time import perf_counter
from typing import TYPE_CHECKING

import plica
from plica.api.contents import checked
from plica.commands.of_project import AroundSpecs, run_of, show_run
from plica.commands.output import has_errors, in_order, put, say, show
from plica.named_tuples import NamedTuple

if TYPE_CHECKING:
    from plica.api.character import Character
    from plica.diagnostics import Diagnostic


def check(options: argparse.Namespace) -> int:
    """Check each spec, show what was found in all of them, and a line for each that has no error."""
    collects = gc.isenabled()
    gc.disable()  # so short a run has no garbage worth the looking, which takes a twentieth of it
    try:
        return _check(options) if options.specs else _check_project(options)
    finally:
        if collects:
            gc.enable()


def _check(options: argparse.Namespace) -> int:
    projects = AroundSpecs(options.allow)
    told: tuple[Diagnostic, ...] = ()
    if options.users:
        found, told = _with_users(options.specs, projects)
    else:
        found = [_checked(spec, projects) for spec in dict.fromkeys(options.specs)]
    diagnostics = in_order([*projects.diagnostics, *told, *(one for checked in found for one in checked.kept)])
    if options.format == "junit":
        put(_junit(found))
        show(diagnostics, "text", sys.stderr)
    else:
        show(diagnostics, options.format)
    for spec, one, kept, _ in found:
        if has_errors(kept):
            continue
        if options.axes and one.rig is not None:
            from plica.api.axes import table

            say(*table(one.rig), form=options.format)
        say(*one.stance, form=options.format)
        say(f"{spec}: {checked(one)}; no errors", form=options.format)
    return 1 if has_errors(diagnostics) else 0


class _Checked(NamedTuple):
    """A spec that was checked: its findings without those that its project accepts, and how long it took."""

    spec: str
    character: Character
    kept: tuple[Diagnostic, ...]
    seconds: float


def _checked(spec: str, projects: AroundSpecs) -> _Checked:
    begun = perf_counter()
    character = plica.compile_file(spec, allow=projects.allow(spec))
    return _Checked(spec, character, projects.accepted(character.diagnostics, spec), perf_counter() - begun)


def _with_users(files: Sequence[str], projects: AroundSpecs) -> tuple[list[_Checked], tuple[Diagnostic, ...]]:
    """The specs among files and all that use one of the files, checked; and what kept some from being found."""
    from plica.api.dependents import compile_and_look, libraries_of, possible_users

    users = possible_users(files)
    changed = {os.path.realpath(file) for file in files}
    found: list[_Checked] = []
    verified: set[str] = set()
    for spec in dict.fromkeys((*users.given, *users.others)):
        begun = perf_counter()
        character, looked_at = compile_and_look(spec, projects.allow(spec))
        if spec in users.given or spec in users.everything or changed & looked_at:
            kept = projects.accepted(character.diagnostics, spec)
            found.append(_Checked(spec, character, kept, perf_counter() - begun))
            verified |= libraries_of(character)
    return [_without_note(one, verified) for one in found], users.diagnostics


def _without_note(one: _Checked, verified: set[str]) -> _Checked:
    """A library without the note that it was checked by itself, where a character was checked with it."""
    if os.path.realpath(one.spec) not in verified:
        return one
    return one._replace(kept=tuple(finding for finding in one.kept if finding.name != "library-alone"))


def _junit(found: Sequence[_Checked]) -> str:
    from plica.diagnostics.junit import Suite, document, findings_case

    cases = [findings_case("plica check", one.spec, one.kept, one.seconds) for one in found]
    return document([Suite("plica check", cases, sum(one.seconds for one in found))])


def _check_project(options: argparse.Namespace) -> int:
    from plica.api.projects import check_project

    run = run_of("check", options, lambda found, **common: check_project(found, axes=options.axes, **common))
    return run if isinstance(run, int) else show_run(run, options.format, "check")
