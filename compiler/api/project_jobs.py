"""What is done for one spec of a project, by whichever process: its options and its outcome are plain data."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from plica import observations, regular_files
from plica.api.contents import checked
from plica.diagnostics import Diagnostic, Diagnostics
from plica.diagnostics.place import counted
from plica.project.outcome import Outcome
from plica.project.recall import Job

if TYPE_CHECKING:
    from plica.api.proving import ProofReport

NUMERIC: Final = ("lark", "usd-core", "numpy", "scipy", "pillow", "pydantic", "jinja2", "MaterialX")
"""The packages whose versions count for what is computed on a mesh."""
USES: Final = "uses"
"""The name, among an outcome's documents, of the list of libraries that a character was checked with."""
TABLE: Final = "table"
"""That of a proof's table for people (`plica.prove.report.proof_table`)."""
VERDICTS: Final = "verdicts"
"""That of the number of an outcome's findings, the last ones, that are a proof's verdicts."""


def check_spec(job: Job) -> Outcome:
    """Checks a spec or a library."""
    from plica.api.axes import table
    from plica.api.character import compile_file
    from plica.api.dependents import libraries_of

    options = _options(job)
    character = compile_file(job.shown, allow=options["allow"])
    documents = () if character.is_library else ((USES, json.dumps(sorted(libraries_of(character)))),)
    if not character.ok:
        return Outcome(character.diagnostics, documents=documents)
    axes = table(character.rig) if options["axes"] and character.rig is not None else ()
    return Outcome(character.diagnostics, (*axes, *character.stance, checked(character)), documents)


def build_spec(job: Job) -> Outcome:
    """Builds a character into its folder, or compares that with what would be written."""
    from plica.api.building import build_files, compare_folder, write_files
    from plica.api.character import compile_file

    options = _options(job)
    folder = Path(options["out"])
    if "inside" in options and not _stays_inside(folder, Path(options["inside"])):
        diagnostics = Diagnostics()
        diagnostics.add("outside-project", None, path=folder.as_posix())
        return Outcome(diagnostics.all)
    built = build_files(
        compile_file(job.shown, allow=options["allow"]),
        options["targets"],
        options=options["options"],
        normals=options["normals"],
        allow_inexpressible=options["allow_inexpressible"],
    )
    if not built.ok:
        return Outcome(built.diagnostics)
    if options["current"]:
        state = compare_folder(built, folder)
        count = counted(state.count, "file")
        return Outcome((*built.diagnostics, *state.diagnostics), (f"all {count} in {folder.as_posix()} are current",))
    with observations.unnoted():  # what stood there before makes no difference
        done = write_files(built, folder, dry_run=options["dry_run"])
    if done.ok and not options["dry_run"]:
        for file in done.files:  # what stands there now does: a later run looks whether it still does
            regular_files.content(folder / file, "model_bytes")
    verb = "would write" if options["dry_run"] else "built"  # maybe by an earlier run, with which the folder agrees
    line = f"{verb} {counted(len(done.files), 'file')} in {folder.as_posix()}"
    return Outcome((*built.diagnostics, *done.diagnostics), (line,))


def prove_spec(job: Job) -> Outcome:
    """Measures what a character expects."""
    return proven(job)[1]


def proven(job: Job, progress: Callable[[str], None] = lambda step: None) -> tuple[ProofReport, Outcome]:
    """What proving the job's spec gave, and that as its outcome; progress: as for `prove_expectations`."""
    from plica.api.character import compile_file
    from plica.api.proving import prove_expectations, write_baseline

    options = _options(job)
    progress("checking")
    report = prove_expectations(
        compile_file(job.shown, allow=options["allow"]),
        clips=options["clips"],
        start=options["start"],
        stop=options["stop"],
        stance_at=options["stance_at"],
        baseline=None if options.get("write_baseline") else options.get("baseline"),
        pictures=options.get("pictures"),
        cache=options["cache"],
        workers=job.processes or None,
        scheduler=options.get("scheduler"),
        progress=progress,
    )
    if not report.results and not report.ok:
        return report, Outcome(report.diagnostics)
    diagnostics = report.diagnostics
    if options.get("write_baseline") and not report.incomplete:
        diagnostics += write_baseline(report, options["baseline"])
    return report, _proof(report, diagnostics, options["allow_unmeasured"])


def _proof(report: ProofReport, diagnostics: tuple[Diagnostic, ...], allow_unmeasured: bool) -> Outcome:
    from plica.api.character import rig_of
    from plica.prove.report import proof_table, summary

    unknown, verdicts = len(report.unknown), report.verdicts
    bad = bool(report.failed) or (bool(unknown) and not allow_unmeasured)
    line = (
        f"{len(report.results) - len(report.failed) - unknown} hold, {len(report.failed)} fail, {unknown} not measured"
    )
    rig, origins = rig_of(report.character), report.character.origins
    cases = json.dumps(summary.junit_cases(rig, report.results, report.accepted, origins))
    table = proof_table.written(summary.table_of(report.results, report.accepted))
    documents = ((TABLE, table), ("json", report.json()), ("cases", cases), (VERDICTS, json.dumps(len(verdicts))))
    return Outcome((*diagnostics, *verdicts), (line,), documents, failed=bad, unfinished=report.incomplete)


def _stays_inside(folder: Path, root: Path) -> bool:
    """Whether a folder lies in a project, links followed, also where it is still to be made."""
    try:
        return regular_files.resolved(folder).is_relative_to(regular_files.resolved(root))
    except (OSError, RuntimeError, ValueError):
        return False


def _options(job: Job) -> Any:
    return json.loads(job.options)
