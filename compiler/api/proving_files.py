"""The proof of one spec's file; where all that it hangs on is as in an earlier run, that run's, to the letter."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from plica.api.character import FilePath, counted_errors, file_names, folders
from plica.api.kept_in import place_of, store_in
from plica.api.project_jobs import NUMERIC, TABLE, VERDICTS, prove_spec, proven
from plica.diagnostics import Diagnostic
from plica.project.outcome import Outcome
from plica.project.recall import Job, KeptOutcomes, watched
from plica.prove.report import proof_table
from plica.prove.report.proof_table import ProofTable

if TYPE_CHECKING:
    from plica.api.proving import ProofReport

_UNREADABLE: Final = (ValueError, KeyError, TypeError, AttributeError, RecursionError)


@dataclass(frozen=True, eq=False, repr=False)
class FileProof:
    """What proving a spec gave, as findings and texts.

    diagnostics: what was found on the way; verdicts: what is told of expectations. table, document, cases: what was
    measured, for people, as JSON and for a test report; None where errors stood in the way. failed: whether an
    expectation fails, or is unknown and that is not allowed. incomplete: why some expectations were left unmeasured,
    "" if none was. seconds: how long it took. report: the proof itself, None where it is that of an earlier run.
    problem: why nothing could be kept, "" for no reason.
    """

    file: str
    diagnostics: tuple[Diagnostic, ...]
    verdicts: tuple[Diagnostic, ...] = ()
    table: ProofTable | None = None
    document: str = ""
    cases: str = "[]"
    failed: bool = False
    incomplete: str = ""
    seconds: float = 0.0
    report: ProofReport | None = None
    problem: str = ""

    @property
    def recalled(self) -> bool:
        """Whether it is the proof of an earlier run, everything that it hangs on being the same."""
        return self.report is None

    @property
    def stopped(self) -> bool:
        """Whether the measuring was ended by a KeyboardInterrupt."""
        return self.report is not None and self.report.stopped

    def text(self, width: int | None = None, colour: bool = False, every_pose: bool = False) -> str:
        """The table for people as `ProofReport.text` gives it; "" where nothing was measured."""
        return "" if self.table is None else proof_table.text(self.table, width, colour, every_pose)

    def json(self) -> str:
        """The proof as JSON, as `ProofReport.json` gives it; "" where nothing was measured."""
        return self.document

    def junit(self) -> str:
        """A test case for each expectation, in JUnit's XML, as `ProofReport.junit` gives it."""
        from plica.diagnostics.junit import Case, Suite, document

        name = json.loads(self.document)["character"] if self.document else self.file
        cases = [Case(*case) for case in json.loads(self.cases)]
        return document([Suite(f"plica prove {name}", cases, self.seconds)])

    def __repr__(self) -> str:
        state = counted_errors(self.diagnostics) if self.table is None else self.table.line
        return f"<FileProof of {self.file!r}: {state}>"


def prove_file(
    spec: FilePath,
    *,
    allow: Iterable[FilePath] = (),
    clips: Iterable[FilePath] = (),
    start: float | None = None,
    stop: float | None = None,
    stance_at: float | None = None,
    baseline: FilePath | None = None,
    write_baseline: bool = False,
    allow_unmeasured: bool = False,
    pictures: FilePath | None = None,
    cache: FilePath | bool = True,
    workers: int | None = None,
    scheduler: str | None = None,
    progress: Callable[[str], None] = lambda step: None,
) -> FileProof:
    """Prove the spec in a file: what `prove_expectations` gives for it, without measuring or even loading anything
    where all files that it read, the options, the limits and Plica itself are as they were in an earlier run.

    write_baseline: the figures are written to the file of the baseline instead of being held against it.
    allow_unmeasured: what could not be measured does not count as a failure. cache: where both whole proofs and single
    figures are kept. With pictures, a baseline to be written, or a scheduler nothing is taken for done. The others, and
    what is raised, as for `prove_expectations`.
    """
    if workers is not None and workers < 1:
        raise ValueError("workers takes a number from 1 on")
    options: dict[str, Any] = {
        "allow": [path.as_posix() for path in folders(allow)],
        "clips": list(file_names(clips)),
        "start": start,
        "stop": stop,
        "stance_at": stance_at,
        "baseline": _text(baseline),
        "write_baseline": write_baseline,
        "allow_unmeasured": allow_unmeasured,
        "pictures": _text(pictures),
        "cache": place_of(cache),
        "scheduler": scheduler,
    }
    shown, usable = os.fspath(spec), not (write_baseline or pictures is not None or scheduler is not None)
    written = json.dumps(options, sort_keys=True)
    job = Job(prove_spec, str(Path(shown).absolute()), shown, written, NUMERIC, usable, workers or 0)
    kept = KeptOutcomes(store_in(cache))
    return _recalled(job, kept) or _proven(job, kept, progress)


def _text(path: FilePath | None) -> str | None:
    return None if path is None else os.fspath(path)


def _recalled(job: Job, kept: KeptOutcomes) -> FileProof | None:
    """The proof of an earlier run that would be the same now; None for none."""
    outcome = kept.outcome(job)
    if outcome is not None:
        with suppress(*_UNREADABLE):
            return _of(job, outcome, None)
    return None


def _proven(job: Job, kept: KeptOutcomes, progress: Callable[[str], None]) -> FileProof:
    reports: list[ProofReport] = []

    def work() -> Outcome:
        report, outcome = proven(job, progress)
        reports.append(report)
        return outcome

    done = watched(job, work)
    kept.keep(job, done)
    if kept.store is not None:
        kept.store.trim()
    return _of(job, done.outcome, reports[0], done.seconds, kept)


def _of(
    job: Job, outcome: Outcome, report: ProofReport | None, seconds: float = 0.0, kept: KeptOutcomes | None = None
) -> FileProof:
    """An outcome taken apart. Raises ValueError, KeyError or TypeError where it is none of a proof."""
    store = None if kept is None else kept.store
    problem = f"{store.folder}: {store.problem}" if store is not None and store.problem else ""
    held = outcome.document(TABLE)
    if held is None:
        return FileProof(job.shown, outcome.diagnostics, failed=True, seconds=seconds, report=report, problem=problem)
    documents = dict(outcome.documents)
    verdicts = len(outcome.diagnostics) - int(documents[VERDICTS])
    return FileProof(
        job.shown,
        outcome.diagnostics[:verdicts],
        outcome.diagnostics[verdicts:],
        proof_table.read(held),
        documents["json"],
        documents["cases"],
        outcome.failed,
        outcome.unfinished,
        seconds,
        report,
        problem,
    )
