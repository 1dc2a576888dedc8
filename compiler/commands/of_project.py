"""What commands do with projects: one for the specs that were given, or all of one where none was."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import plica
from plica.api.found_project import FoundProject, find_project
from plica.commands.output import has_errors, in_order, put, remark, say, show, usage_error
from plica.commands.progress import progress
from plica.diagnostics import Diagnostic, Severity
from plica.diagnostics.place import counted
from plica.diagnostics.text import summary

if TYPE_CHECKING:
    from plica.api.character import Character
    from plica.api.projects import ProjectRun, SpecResult

INTERNAL_ERROR = 70


class AroundSpecs:
    """The projects that given specs lie in: the folders these allow, and what they accept."""

    def __init__(self, allow: Iterable[Path]) -> None:
        self._allow = list(allow)
        self._found: dict[Path, FoundProject] = {}
        self._told: list[Diagnostic] = []

    def of(self, spec: str) -> FoundProject:
        """The project that a spec lies in."""
        folder = Path(spec).parent
        if folder not in self._found:
            self._found[folder] = find_project(folder)
        return self._found[folder]

    def allow(self, spec: str) -> list[Path]:
        """The folders that a spec may use files of besides its own."""
        return [*self._allow, *self.of(spec).allow]

    def clips(self, spec: str, are_needed: bool = False) -> list[Path]:
        """The clips of the project that a spec lies in; what their patterns say of mistakes joins `diagnostics`."""
        found = self.of(spec)
        if found.project is None or not found.project.clips:
            return []
        members, told = found.members(are_needed)
        self._told += told
        return [] if members is None else list(members.clips)

    def accepted(self, diagnostics: Iterable[Diagnostic], spec: str) -> tuple[Diagnostic, ...]:
        """Diagnostics of a spec without what its project accepts."""
        return self.of(spec).accepted(diagnostics, spec)

    @property
    def diagnostics(self) -> list[Diagnostic]:
        """The mistakes in the projects' own files."""
        return [*(one for found in self._found.values() for one in found.diagnostics), *self._told]


def compiled_or_told(specs: Sequence[str], allow: Iterable[Path]) -> list[Character] | None:
    """Specs compiled, with the folders of their projects; None, after findings on the standard error, where one of
    them or its project has mistakes."""
    projects = AroundSpecs(allow)
    characters = [plica.compile_file(spec, allow=projects.allow(spec)) for spec in specs]
    found = in_order((*projects.diagnostics, *(one for each in characters for one in each.diagnostics)))
    if not has_errors(found):
        return characters
    show(found, "text", sys.stderr)
    return None


def here(command: str) -> FoundProject | int:
    """The project of the working folder; an exit code, told, where there is none."""
    found = find_project()
    if found.root is None:
        return usage_error(
            command, "give a SPEC; without one the command works on a project, and no plica.toml is here or above"
        )
    return found


def run_of(
    command: str, options: argparse.Namespace, work: Callable[..., ProjectRun], title: str = ""
) -> ProjectRun | int:
    """A run over the project of the working folder; an exit code where there is none.

    work: takes the project, and by name what all commands have in common.
    """
    from plica.commands.stopping import stopping

    found = here(command)
    if isinstance(found, int):
        return found
    with progress(title or f"{command} {found.root}") as step, stopping() as asked:

        def tell(what: str) -> None:
            asked.heed()
            step(what)

        common: dict[str, Any] = {
            "allow": options.allow,
            "cache": False if options.no_cache else True if options.cache is None else options.cache,
            "workers": options.workers,
            "progress": tell,
        }
        return work(found, **common)


Told = Callable[["SpecResult"], Iterable[str]]
"""The lines about a spec, for people, that stand above the summary."""


def show_run(run: ProjectRun, form: str, command: str, told: Told | None = None) -> int:
    """Show the findings, a line for each spec and the totals; gives the exit code."""
    findings = in_order(run.everything)
    if form == "junit" or (form == "json" and command == "prove"):
        put(run.junit(command) if form == "junit" else run.json())
        show(findings, "text", sys.stderr)
    else:
        show(findings, form, command=command)
    for result in run.results:
        say(*(told(result) if told is not None else result.outcome.lines[:-1]), form=form)
    say(*(_line(result) for result in run.results), form=form)
    if run.results:
        say(*_totals(run), form=form)
    _tell_of_the_cache(run)
    return _code(run, findings)


def _line(result: SpecResult) -> str:
    return "; ".join([f"{result.file}: {state(result)}", *result.outcome.lines[-1:]])


def state(result: SpecResult) -> str:
    """`ok`, `2 warnings` or `failed: 1 error`."""
    if result.outcome.crash:
        return "failed: a mistake of Plica's own"
    counts = summary(result.diagnostics) if result.diagnostics else ""
    if result.ok:
        return counts or "ok"
    return f"failed: {counts}" if counts else "failed"


def _totals(run: ProjectRun) -> Iterable[str]:
    for noun, results in (
        ("character", [one for one in run.results if not one.is_library]),
        ("librar", [one for one in run.results if one.is_library]),
    ):
        if results:
            name = counted(len(results), noun) if noun == "character" else _libraries(len(results))
            fine = sum(one.ok and not one.diagnostics for one in results)
            failed = sum(not one.ok for one in results)
            counts = {"ok": fine, "with findings": len(results) - fine - failed, "failed": failed}
            yield f"{name}: {', '.join(f'{count} {what}' for what, count in counts.items() if count)}"


def _libraries(count: int) -> str:
    return "1 library" if count == 1 else f"{count} libraries"


def _tell_of_the_cache(run: ProjectRun) -> None:
    """How much had been done before: for somebody who watches. A crash is told to all."""
    recalled = sum(one.recalled for one in run.results)
    if recalled and sys.stderr.isatty():
        remark(
            f"{recalled} of {len(run.results)} are unchanged since they were last looked at; --no-cache does all anew"
        )
    for result in run.results:
        if result.outcome.crash:
            remark(f"a mistake of Plica's own in {result.file}:", *result.outcome.crash.rstrip().split("\n"))


def _code(run: ProjectRun, findings: Iterable[Diagnostic]) -> int:
    if any(result.outcome.crash for result in run.results):
        return INTERNAL_ERROR
    if any(result.outcome.unfinished and not has_errors(result.diagnostics) for result in run.results):
        return 1
    return 1 if not run.ok or any(one.severity is Severity.ERROR for one in findings) else 0
