"""Work on all characters of a project: what its `plica.toml` says, and what has not changed is not done again."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from plica.api.character import FilePath, folders
from plica.api.found_project import FoundProject
from plica.api.kept_in import place_of, store_in
from plica.api.project_jobs import NUMERIC, TABLE, USES, build_spec, check_spec, prove_spec
from plica.cores import own_cores
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.diagnostics.place import counted
from plica.project.accepted import Acceptances
from plica.project.crew import JobResult, results
from plica.project.members import Members, members, shown, shown_file
from plica.project.outcome import Outcome
from plica.project.recall import Job, KeptOutcomes

_MOST_HEAVY_WORKERS = 6
"""Processes that build or measure unless more are asked for: each holds a mesh."""


@dataclass(frozen=True, eq=False, repr=False)
class SpecResult:
    """What was done for one spec: its findings without those that the project accepts.

    outcome: what else is told; its own diagnostics are those before anything was taken out. seconds: how long it took;
    recalled: whether it is the outcome of an earlier run, everything that it depends on being the same.
    """

    file: str
    diagnostics: tuple[Diagnostic, ...]
    outcome: Outcome
    seconds: float
    recalled: bool
    is_library: bool = False

    @property
    def ok(self) -> bool:
        """Whether it is as it should be; warnings and notes do not count."""
        return self.outcome.is_good

    def table(self, every_pose: bool = False) -> str:
        """The table of a proof for people, "" for none; every_pose: also with the worst pose of what holds."""
        from plica.prove.report import proof_table

        held = self.outcome.document(TABLE)
        return "" if held is None else proof_table.text(proof_table.read(held), every_pose=every_pose)

    def __repr__(self) -> str:
        return f"<SpecResult of {self.file!r}: {'ok' if self.ok else 'failed'}>"


@dataclass(frozen=True, eq=False, repr=False)
class ProjectRun:
    """What was done for a project: a result for each spec, characters first; none where its `plica.toml` has mistakes.

    diagnostics: what was found of the project itself; those of each spec stand with its result.
    """

    found: FoundProject
    results: tuple[SpecResult, ...]
    diagnostics: tuple[Diagnostic, ...]

    @property
    def ok(self) -> bool:
        """Whether everything was looked at and is as it should be."""
        errors = any(one.severity is Severity.ERROR for one in self.diagnostics)
        return bool(self.results) and not errors and all(one.ok for one in self.results)

    @property
    def everything(self) -> tuple[Diagnostic, ...]:
        """What was found of the project and of every spec."""
        return (*self.diagnostics, *(one for result in self.results for one in result.diagnostics))

    def json(self) -> str:
        """The proofs of all characters as JSON: by its spec, what `plica prove --format json` gives of each alone.

        A character that could not be measured at all has null.
        """
        from plica import foreign

        held = {one.file: one.outcome.document("json") for one in self.results}
        proofs = {file: None if text is None else json.loads(text) for file, text in held.items()}
        return foreign.json_document({"format": "plica-project-proof", "version": 1, "characters": proofs})

    def junit(self, command: str) -> str:
        """A test report: a test for each spec, or for each expectation that was measured, with times."""
        from plica.diagnostics.junit import Case, Suite, document, findings_case

        suites = []
        own = [one for one in self.diagnostics if one.severity is Severity.ERROR]
        if own:
            file = shown_file(self.found.root) if self.found.root is not None else ""
            suites.append(Suite(f"plica {command}: the project", [findings_case("project", file, own, None)]))
        for one in self.results:
            held = one.outcome.document("cases")
            if held is not None:
                cases = [Case(*case) for case in json.loads(held)]
            else:
                failed = not one.ok
                cases = [findings_case(f"plica {command}", one.file, one.diagnostics, one.seconds, failed)]
            suites.append(Suite(f"plica {command} {one.file}", cases, one.seconds, one.file))
        return document(suites)

    def __repr__(self) -> str:
        bad = sum(not one.ok for one in self.results)
        return f"<ProjectRun: {counted(len(self.results), 'spec')}, {bad} failed>"


Step = Callable[[str], None]


def check_project(
    found: FoundProject,
    *,
    allow: Iterable[FilePath] = (),
    axes: bool = False,
    cache: FilePath | bool = True,
    workers: int | None = None,
    progress: Step = lambda step: None,
) -> ProjectRun:
    """Check every character and library of a project.

    allow: folders outside the project that specs may use too. axes: also tell mirrored axes. cache: where outcomes are
    kept between runs; True for the user's own folder, False for none. workers: processes that work once it takes long,
    default: one for each core. progress: called with how far the work is. Nothing is raised but KeyboardInterrupt.
    """
    options = {"axes": axes}
    work = _Work(found, allow, cache, workers or own_cores(), progress)
    return work.run(lambda path: Job(check_spec, str(path), shown(path), work.written(options)), libraries=True)


def build_project(
    found: FoundProject,
    *,
    folder: FilePath | None = None,
    targets: Iterable[str] = (),
    options: Mapping[str, Mapping[str, Sequence[str]]] | None = None,
    normals: bool = False,
    allow_inexpressible: bool = False,
    dry_run: bool = False,
    current: bool = False,
    allow: Iterable[FilePath] = (),
    cache: FilePath | bool = True,
    workers: int | None = None,
    progress: Step = lambda step: None,
) -> ProjectRun:
    """Build every character of a project, each into its own folder below `folder`, laid out as the specs are.

    folder, targets, options: default: as the project says; options given here replace those of the project. current:
    write nothing, and tell what is not current. The others are those of `build_files` and `check_project`.
    """
    from plica.api.project_targets import chosen_targets

    work = _Work(found, allow, cache, workers or min(own_cores(), _MOST_HEAVY_WORKERS), progress)
    project = found.project
    if project is None:
        return work.nothing()
    chosen, problems = chosen_targets(project, tuple(targets), options or {})
    if problems:
        return work.nothing(problems)
    out = project.out if folder is None else Path(folder)
    given = {"targets": list(chosen.options), "options": chosen.options, "normals": normals}
    given |= {"allow_inexpressible": allow_inexpressible, "dry_run": dry_run, "current": current}

    def job(path: Path) -> Job:
        place = out / path.parent.relative_to(project.root)
        where = {"out": shown(place), "inside": str(project.root)} if folder is None else {"out": place.as_posix()}
        options = work.written({**given, **where})
        kept = chosen.own and not (dry_run or current)
        return Job(build_spec, str(path), shown(path), options, NUMERIC, kept)

    return work.run(job)


def prove_project(
    found: FoundProject,
    *,
    clips: Iterable[FilePath] = (),
    start: float | None = None,
    stop: float | None = None,
    stance_at: float | None = None,
    allow_unmeasured: bool = False,
    allow: Iterable[FilePath] = (),
    cache: FilePath | bool = True,
    workers: int | None = None,
    progress: Step = lambda step: None,
) -> ProjectRun:
    """Measure every expectation of every character of a project, over the project's clips or those given.

    Where there are few characters, each is measured by all processes. The parameters are those of
    `prove_expectations` and `check_project`.
    """
    count = workers or min(own_cores(), _MOST_HEAVY_WORKERS)
    work = _Work(found, allow, cache, count, progress)
    places = [os.fspath(clip) for clip in ((clips,) if isinstance(clips, str | os.PathLike) else clips)]
    given: dict[str, Any] = {"start": start, "stop": stop, "stance_at": stance_at, "cache": place_of(cache)}
    given |= {"allow_unmeasured": allow_unmeasured}

    def job(path: Path) -> Job:
        alone = work.count_of_characters < 2 * count
        motion = places or [shown(clip) for clip in work.clips]
        options = work.written({**given, "clips": motion})
        return Job(prove_spec, str(path), shown(path), options, NUMERIC, processes=count if alone else 1)

    return work.run(job, needs_clips=not places and not allow_unmeasured)


class _Work:
    """One run over a project."""

    def __init__(
        self, found: FoundProject, allow: Iterable[FilePath], cache: FilePath | bool, count: int, progress: Step
    ) -> None:
        self._found, self._cache, self._count, self._progress = found, cache, count, progress
        self._allow = [path.as_posix() for path in folders(allow)]
        self._members: Members | None = None

    @property
    def count_of_characters(self) -> int:
        """How many characters there are, once the run has begun."""
        return 0 if self._members is None else len(self._members.characters)

    @property
    def clips(self) -> tuple[Path, ...]:
        """The project's clips, once the run has begun."""
        return () if self._members is None else self._members.clips

    def written(self, options: Mapping[str, Any]) -> str:
        """Options as JSON, with the folders that specs may use."""
        allow = [*map(str, self._found.allow), *self._allow]
        return json.dumps({"allow": allow, **options}, sort_keys=True)

    def nothing(self, diagnostics: Iterable[Diagnostic] = ()) -> ProjectRun:
        """A run that ended before anything was done."""
        return ProjectRun(self._found, (), (*self._found.diagnostics, *diagnostics))

    def run(self, job: Callable[[Path], Job], libraries: bool = False, needs_clips: bool = False) -> ProjectRun:
        """Do the job of every character, and of every library too where that is asked for."""
        project = self._found.project
        if project is None:
            return self.nothing()
        diagnostics = Diagnostics()
        self._members = members(project, diagnostics, needs_clips)
        if self._members is None:
            return self.nothing(diagnostics.all)
        jobs = [job(path) for path in (self._members.specs if libraries else self._members.characters)]
        many = 1 if any(one.processes > 1 for one in jobs) else self._count
        done = results(jobs, KeptOutcomes(store_in(self._cache)), many, self._progress)
        acceptances = Acceptances(project)
        used = {path for one in done for path in json.loads(one.outcome.document(USES) or "[]")}
        told = tuple(
            self._told(one, acceptances, number >= len(self._members.characters), used)
            for number, one in enumerate(done)
        )
        if libraries and all(one.ok for one in told):  # errors may have hidden what is accepted
            acceptances.tell_unused(diagnostics)
        return ProjectRun(self._found, told, (*self._found.diagnostics, *diagnostics.all))

    def _told(self, one: JobResult, acceptances: Acceptances, is_library: bool, used: set[str]) -> SpecResult:
        """What is told of a spec; `used`: the libraries that were checked with a character that uses them."""
        kept = acceptances.kept(one.outcome.diagnostics, one.job.shown)
        if is_library and os.path.realpath(one.job.spec) in used:
            kept = tuple(found for found in kept if found.name != "library-alone")
        return SpecResult(one.job.shown, kept, one.outcome, one.seconds, one.recalled, is_library)
