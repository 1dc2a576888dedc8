"""Every expectation of a character, measured."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Final

from plica.api.character import Character, FilePath, counted_errors, file_names
from plica.api.kept_in import store_in
from plica.api.subject import subject_of
from plica.api.whole_files import write_whole
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.evaluate.clip_parts import ClipPart
from plica.prove.baseline import UnreadableBaselineError, read, written
from plica.prove.cache.disk import DiskCache
from plica.prove.execution.executor import LostWorkersError, MakeExecutor
from plica.prove.execution.skin_runs import Progress, Tally, Tell
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.report import summary
from plica.prove.results import Result, not_measured
from plica.prove.subject import ExtraClips
from plica.rig.rig import Rig
from plica.workspace import Refused, Workspace, read_bytes

_NO_TALLY: Final = Tally(0, 0)
STOPPED: Final = "the run was stopped before"
WORKERS_LOST: Final = "those who measure went away"


@dataclass(frozen=True, eq=False, repr=False)
class ProofReport:
    """What proving gave.

    results: one for each expectation, in the rig's order; empty where errors stood in the way. diagnostics: what was
    found on the way; the verdicts themselves as diagnostics are `verdicts`. accepted: figures that were accepted as
    they are, by the expectation's title. incomplete: why some expectations were left unmeasured, "" if none was.
    tally: how many figures came from the cache and how many were measured; cache: where they are kept, None for
    nowhere; seconds: how long it took.
    """

    character: Character
    results: tuple[Result, ...]
    diagnostics: tuple[Diagnostic, ...]
    accepted: Mapping[str, float] = field(default_factory=dict)
    incomplete: str = ""
    tally: Tally = _NO_TALLY
    cache: DiskCache | None = None
    seconds: float = 0.0

    @property
    def ok(self) -> bool:
        """Whether everything could be read; it says nothing of the verdicts."""
        return not any(one.severity is Severity.ERROR for one in self.diagnostics)

    @property
    def stopped(self) -> bool:
        """Whether the measuring was ended by a KeyboardInterrupt."""
        return self.incomplete == STOPPED

    @property
    def holds(self) -> bool:
        """Whether there were expectations and every one was measured and holds, or is no worse than was accepted."""
        return self.ok and bool(self.results) and not self.incomplete and not self.failed and not self.unknown

    @property
    def failed(self) -> tuple[Result, ...]:
        """The results beyond their limit, but for those that are accepted as they are."""
        return tuple(result for result in self.results if summary.fails(result, self.accepted))

    @property
    def unknown(self) -> tuple[Result, ...]:
        """The results of what could not be measured."""
        return tuple(result for result in self.results if result.status == "not measured")

    @property
    def verdicts(self) -> tuple[Diagnostic, ...]:
        """A diagnostic at its `expect` line for each result that fails, got worse or better, or was not measured."""
        from plica.prove.report.draft_hints import draft_hints

        diagnostics, rig = Diagnostics(), self.character.rig
        hints = {} if rig is None else draft_hints(rig, self.character.file, self.results)
        summary.add_findings(self.results, self.accepted, diagnostics, self.character.origins, hints)
        return diagnostics.all

    def text(self, width: int | None = None, colour: bool = False, every_pose: bool = False) -> str:
        """A table for people, and in full the worst poses of what fails, or of all.

        width: columns of the table at most, None for as many as it needs.
        """
        return summary.text(self.results, self.accepted, width, colour, every_pose)

    def json(self) -> str:
        """The proof as JSON, figures in each entry's unit; a worst pose is there as plain data, `pose.plain`, that
        `plica.deform_mesh` takes. Raises NoRigError."""
        return summary.json_text(self._rig(), self.results, self.accepted, not self.incomplete)

    def junit(self) -> str:
        """A test case for each expectation, in JUnit's XML. Raises NoRigError."""
        return summary.junit(self._rig(), self.results, self.accepted, self.character.origins, self.seconds)

    def _rig(self) -> Rig:
        from plica.api.character import posed_rig

        return posed_rig(self.character)

    def __repr__(self) -> str:
        if not self.ok:
            return f"<ProofReport of {self.character.file!r}: {counted_errors(self.diagnostics)}>"
        good = len(self.results) - len(self.failed) - len(self.unknown)
        counts = f"{good} hold, {len(self.failed)} fail, {len(self.unknown)} not measured"
        return f"<ProofReport of {self.character.name!r}: {counts}>"

    def _repr_html_(self) -> str:
        from plica.api.notebook import diagnostics_html, table_html

        rows = [
            (
                result.status,
                result.title,
                summary.figure(result, result.worst),
                summary.amount(result, result.limit),
                summary.figure(result, result.bare),
                summary.where(result),
            )
            for result in self.results
        ]
        heads = ("", "expectation", "worst", "limit", "without shapes", "worst at")
        return (table_html(heads, rows) if rows else "") + diagnostics_html(self.diagnostics)


def prove_expectations(
    character: Character,
    *,
    clips: Iterable[FilePath] = (),
    start: float | None = None,
    stop: float | None = None,
    stance_at: float | None = None,
    baseline: FilePath | None = None,
    pictures: FilePath | None = None,
    cache: FilePath | bool = True,
    workers: int | None = None,
    scheduler: str | None = None,
    progress: Callable[[str], None] = lambda step: None,
) -> ProofReport:
    """Measure every expectation over the poses that it names, with the shapes and without.

    clips: files of motion that every expectation goes over as well; start, stop: of them only the part between these
    seconds, both included; stance_at: the second at which the skeleton of each of them stands in its neutral stance,
    None for the rest pose of its file. baseline: a file of figures that are accepted.
    pictures: a folder in which pictures of the worst places are written. cache: where figures are kept between runs;
    True for the user's own folder, False for none. workers: processes that measure, default: one for each core;
    scheduler: the address of a dask.distributed cluster instead, which is trusted with everything. progress: called
    with what is done next.

    Errors of the spec, its files, clips and the baseline are diagnostics of the result, which then has no results. A
    KeyboardInterrupt ends the measuring; what was not measured then is "not measured". Nothing is raised but for
    `workers` below 1 (ValueError).
    """
    if workers is not None and workers < 1:
        raise ValueError("workers takes a number from 1 on")
    diagnostics, begun = Diagnostics(), time.perf_counter()
    accepted = {} if baseline is None else _baseline(Path(baseline), diagnostics)
    workspace = Workspace(character.folder, character.allow)
    extra = file_names(clips)
    motion = ExtraClips(extra, ClipPart(start, stop, stance_at))
    subject = subject_of(character, workspace, motion, diagnostics, progress)
    if subject is None:
        return ProofReport(character, (), diagnostics.all, accepted)
    store = store_in(cache)
    prover, results, incomplete = measured(subject, store, workers, scheduler, progress, diagnostics)
    if pictures is not None and not incomplete:
        results = drawn(subject, results, Path(pictures), diagnostics, progress)
    tell_unswept(prover, character, diagnostics)
    seconds = time.perf_counter() - begun
    return ProofReport(character, tuple(results), diagnostics.all, accepted, incomplete, prover.tally, store, seconds)


def tell_unswept(prover: Prover, character: Character, diagnostics: Diagnostics) -> None:
    """Say of each expectation which strengths it would go over and cannot."""
    for index, names in prover.unswept.items():
        listed = ", ".join(f"`{name}`" for name in names)
        diagnostics.add("strengths-not-swept", character.origins.get(("expect", str(index))), strengths=listed)


def write_baseline(report: ProofReport, file: FilePath) -> tuple[Diagnostic, ...]:
    """Write a report's figures as accepted; what stands in the way is given as diagnostics, and nothing is written."""
    path = Path(file)
    return write_whole({path.name: written(list(report.results))}, path.parent)


def drawn(
    subject: ProofSubject,
    results: Sequence[Result],
    folder: Path,
    diagnostics: Diagnostics,
    progress: Callable[[str], None],
) -> list[Result]:
    """The results with the names of their pictures, which are written to the folder; as they were after diagnostics."""
    from plica.emit.writer import write
    from plica.prove.report.pictures import pictures_of

    files: dict[str, bytes] = {}
    shown = {result.index: result for result in results}
    for result, image in pictures_of(subject, results):
        progress(f"drawing {result.picture}")
        files[result.picture] = image
        shown[result.index] = result
    if not files or write(files, folder, diagnostics) is None:
        return list(results)
    return [shown[result.index] for result in results]


def measured(
    subject: ProofSubject,
    store: DiskCache | None,
    workers: int | None,
    scheduler: str | None,
    progress: Callable[[str], None],
    diagnostics: Diagnostics,
) -> tuple[Prover, list[Result], str]:
    """The results of every expectation of a subject, in the rig's order, and why some were left undone."""
    prover = Prover(subject, hire=_executor(workers, scheduler), store=store)
    return prover, *_measured(prover, subject.rig, _telling(progress), diagnostics)


def _executor(workers: int | None, scheduler: str | None) -> MakeExecutor:
    """Who measures: a cluster, or processes of this machine."""
    from plica.prove.execution.executor import LocalExecutor, usual_workers

    if scheduler is not None:
        from plica.prove.execution.cluster import ClusterExecutor

        return partial(ClusterExecutor, address=scheduler)
    return partial(LocalExecutor, count=workers or usual_workers())


def _measured(prover: Prover, rig: Rig, tell: Tell, diagnostics: Diagnostics) -> tuple[list[Result], str]:
    """All results in the rig's order, and why some were left undone and are not measured, if any were."""
    results: dict[int, Result] = {}
    why = ""
    try:
        for result in prover.results(tell):
            results[result.index] = result
    except KeyboardInterrupt:
        why = STOPPED
    except LostWorkersError as error:
        why = WORKERS_LOST
        diagnostics.add("nobody-measures", None, reason=error)
    for index, expectation in enumerate(rig.expectations):
        if index not in results:
            results[index] = not_measured(index, expectation, why)
    return [results[index] for index in sorted(results)], why


def _telling(progress: Callable[[str], None]) -> Tell:
    """Tells how far the work is and how long it still takes, by how long the part took that was not in the cache."""
    begun = time.monotonic()

    def tell(done: Progress) -> None:
        measured = done.frames - done.recalled
        seconds = (time.monotonic() - begun) / measured * (done.whole - done.frames) if measured else 0.0
        counted = f": {done.frames} of {done.whole} poses" if done.whole else ""
        progress(f"{done.kinds}{counted}" + (f", about {seconds:.0f} s left" if measured else ""))

    return tell


def _baseline(file: Path, diagnostics: Diagnostics) -> Mapping[str, float]:
    held = read_bytes(file, file.as_posix())
    if isinstance(held, Refused) and held.name != "unreadable-file":
        diagnostics.add_filled(held.name, None, held.values)
        return {}
    try:
        if isinstance(held, Refused):
            raise UnreadableBaselineError(held.values["reason"])
        return read(held)
    except UnreadableBaselineError as error:
        diagnostics.add("unreadable-baseline", None, file=file, reason=error)
        return {}
