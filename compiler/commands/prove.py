"""`plica prove`: every expectation measured."""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from plica.commands.output import has_errors, in_order, put, remark, show, usage_error, wants_colour
from plica.commands.pictures import drawn
from plica.commands.progress import Step, progress
from plica.commands.stopping import Stopping, stopping
from plica.diagnostics import Diagnostics
from plica.source import Span

if TYPE_CHECKING:
    from plica.pipeline import Compiled
    from plica.prove.cache.disk import DiskCache
    from plica.prove.execution.executor import MakeExecutor
    from plica.prove.execution.skin_runs import Progress, Tally, Tell
    from plica.prove.proof import ProofSubject
    from plica.prove.prover import Prover
    from plica.prove.results import Result
    from plica.prove.sweeps import PoseTrack
    from plica.rig.rig import Rig

STOPPED = 130
NOT_DONE = "the run was stopped before"
NOBODY = "those who measure went away"


class _Proof(NamedTuple):
    """What was measured, and of what; `why` the rest was not, if any was left when the run ended."""

    rig: Rig
    origins: Mapping[tuple[str, str], Span]
    results: list[Result]
    why: str
    tally: Tally
    store: DiskCache | None


def prove(options: argparse.Namespace) -> int:
    """Measure and tell; exits with 1 where an expectation does not hold, with 130 after Ctrl-C or a request to end."""
    if options.write_baseline and options.baseline is None:
        return usage_error("prove", "--write-baseline needs --baseline FILE, the file to write")
    if options.workers is not None and options.workers < 1:
        return usage_error("prove", "--workers takes a number from 1 on")
    diagnostics = Diagnostics()
    accepted: Mapping[str, float] = {}
    if options.baseline is not None and not options.write_baseline:
        accepted = _baseline(options.baseline, diagnostics)
    proof = None
    if not diagnostics.has_errors:
        with progress(f"proving {options.spec}") as step:
            proof = _proof(options, diagnostics, step)
    if proof is None:
        _show_findings(diagnostics, options.format)
        return 1
    if options.write_baseline and not proof.why:
        _write_baseline(options.baseline, proof.results, diagnostics)
    return _tell(proof, accepted, options, diagnostics)


def _tell(proof: _Proof, accepted: Mapping[str, float], options: argparse.Namespace, diagnostics: Diagnostics) -> int:
    """The report on the standard output; in text the findings stand below it."""
    from plica.prove.report import summary as report

    form, complete = options.format, not proof.why
    failed = any(report.fails(result, accepted) for result in proof.results)
    unknown = any(result.status == "not measured" for result in proof.results)
    if form == "json":
        put(report.json_text(proof.rig, proof.results, accepted, complete))
    elif form == "junit":
        put(report.junit(proof.rig, proof.results, accepted, proof.origins))
    elif form == "text":
        width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
        put(report.text(proof.results, accepted, width, wants_colour(sys.stdout)) + "\n\n")
    if form not in ("json", "junit"):
        report.add_findings(proof.results, accepted, diagnostics, proof.origins)
    _show_findings(diagnostics, form)
    _tell_of_the_cache(proof)
    if proof.why == NOT_DONE:
        remark(f"stopped; what was measured until then is told{_kept(proof)}")
        return STOPPED
    return 1 if failed or (unknown and not options.allow_unmeasured) or has_errors(diagnostics.all) else 0


def _tell_of_the_cache(proof: _Proof) -> None:
    """How much of the work had been done before: for somebody who watches."""
    recalled, measured = proof.tally
    if proof.store is not None and proof.store.problem:
        remark(f"nothing could be kept in the cache {proof.store.folder}: {proof.store.problem}")
    if recalled and sys.stderr.isatty():
        share = f"{recalled} of {recalled + measured}"
        remark(f"{share} figures of the skin came from the cache; --no-cache measures all anew")


def _kept(proof: _Proof) -> str:
    nothing = proof.store is None or proof.store.problem
    return "" if nothing else ", and kept in the cache: the next run goes on from there"


def _show_findings(diagnostics: Diagnostics, form: str) -> None:
    """Findings in the form asked for; beside JSON and JUnit's XML as text on the standard error."""
    if form in ("json", "junit"):
        show(in_order(diagnostics.all), "text", sys.stderr)
    else:
        show(in_order(diagnostics.all), form)


def _proof(options: argparse.Namespace, diagnostics: Diagnostics, step: Step) -> _Proof | None:
    from plica.pipeline import compile_file
    from plica.prove.prover import Prover

    step("checking")
    compiled = compile_file(Path(options.spec), options.allow)
    diagnostics.extend(one for one in compiled.diagnostics if has_errors([one]))
    if compiled.rig is None and not diagnostics.has_errors:
        diagnostics.add("nothing-to-build", None, file=options.spec)
    if compiled.rig is None or diagnostics.has_errors:
        return None
    subject = _subject(compiled, compiled.rig, options, diagnostics, step)
    if subject is None or diagnostics.has_errors:
        return None
    store = _store(options)
    prover = Prover(subject, hire=_hire(options, store), store=store)
    with stopping() as asked:
        results, why = _measured(prover, compiled.rig, _telling(step, asked), diagnostics)
    if options.pictures is not None and not why:
        results = drawn(subject, results, options.pictures, diagnostics, step)
    for index, names in prover.unswept.items():
        listed = ", ".join(f"`{name}`" for name in names)
        diagnostics.add("strengths-not-swept", compiled.origins.get(("expect", str(index))), strengths=listed)
    return _Proof(compiled.rig, compiled.origins, results, why, prover.tally, store)


def _store(options: argparse.Namespace) -> DiskCache | None:
    from plica.prove.cache.disk import DiskCache
    from plica.user_cache import cache_folder

    if options.no_cache:
        return None
    folder = Path(options.cache) if options.cache is not None else cache_folder(os.environ)
    return DiskCache(folder) if folder is not None else None


def _hire(options: argparse.Namespace, store: DiskCache | None) -> MakeExecutor:
    """Who measures: a cluster, or processes of this machine."""
    from functools import partial

    from plica.prove.cache.figures import recall_from
    from plica.prove.execution.executor import LocalExecutor, usual_workers

    if options.scheduler is not None:
        from plica.prove.execution.cluster import ClusterExecutor

        return partial(ClusterExecutor, address=options.scheduler)
    recall = partial(recall_from, store.folder if store is not None else None)
    return partial(LocalExecutor, count=options.workers or usual_workers(), recall=recall)


def _subject(
    compiled: Compiled, rig: Rig, options: argparse.Namespace, diagnostics: Diagnostics, step: Step
) -> ProofSubject | None:
    """The rig with its mesh and clips, or None after diagnostics."""
    from plica.mesh.attach import attach
    from plica.prove.declared_poses import declared_poses
    from plica.prove.proof import ProofSubject
    from plica.workspace import Refused, Workspace, located_bytes

    locate = Workspace(Path(options.spec).parent, options.allow).locate
    attached = None
    if rig.character.geometry is not None:
        attached = attach(rig, locate, diagnostics, lambda kind, name: compiled.origins.get((kind, name)), step)
        if attached is None or diagnostics.has_errors:
            return None
    step("reading clips")
    clips: dict[str, Sequence[PoseTrack]] = {}
    for index, expectation in enumerate(rig.expectations):
        for file in expectation.over_clips:
            path = locate(file)
            span = compiled.origins.get(("expect", str(index)))
            if isinstance(path, Refused):
                diagnostics.add_filled(path.name, span, path.values)
            elif file not in clips:
                clips[file] = _tracks(rig, path, file, span, diagnostics)
    extra = [track for file in options.clip for track in _tracks(rig, Path(file), file, None, diagnostics)]
    poses = declared_poses(rig, diagnostics, compiled.origins)
    return ProofSubject(rig, attached, clips, extra, poses, lambda file: located_bytes(locate, file, "image_bytes"))


def _tracks(rig: Rig, path: Path, shown: str, span: Span | None, diagnostics: Diagnostics) -> Sequence[PoseTrack]:
    from plica.prove.clip_tracks import tracks_of
    from plica.readers.clip_reader import find_clips

    return tracks_of(rig, find_clips(path, shown, span, diagnostics), shown, diagnostics, span)


def _measured(prover: Prover, rig: Rig, tell: Tell, diagnostics: Diagnostics) -> tuple[list[Result], str]:
    """All results in the rig's order, and why some were left undone and are not measured, if any were."""
    from plica.prove.execution.executor import LostWorkersError
    from plica.prove.results import not_measured

    results: dict[int, Result] = {}
    why = ""
    try:
        for result in prover.results(tell):
            results[result.index] = result
    except KeyboardInterrupt:
        why = NOT_DONE
    except LostWorkersError as error:
        why = NOBODY
        diagnostics.add("nobody-measures", None, reason=error)
    for index, expectation in enumerate(rig.expectations):
        if index not in results:
            results[index] = not_measured(index, expectation, why)
    return [results[index] for index in sorted(results)], why


def _telling(step: Step, asked: Stopping) -> Tell:
    """Tells how far the work is and how long it still takes, by how long the part took that was not in the cache.

    It ends the work where somebody asked to stop."""
    begun = time.monotonic()

    def tell(done: Progress) -> None:
        asked.heed()
        measured = done.frames - done.recalled
        seconds = (time.monotonic() - begun) / measured * (done.whole - done.frames) if measured else 0.0
        counted = f": {done.frames} of {done.whole} poses" if done.whole else ""
        step(f"{done.kinds}{counted}" + (f", about {seconds:.0f} s left" if measured else ""))

    return tell


def _baseline(file: str, diagnostics: Diagnostics) -> Mapping[str, float]:
    from plica.prove.baseline import UnreadableBaselineError, read
    from plica.workspace import Refused, read_bytes

    held = read_bytes(Path(file), file)
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


def _write_baseline(file: str, results: list[Result], diagnostics: Diagnostics) -> None:
    from plica.emit.writer import write
    from plica.prove.baseline import written

    path = Path(file)
    write({path.name: written(results)}, path.parent, diagnostics)
