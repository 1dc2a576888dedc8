"""`plica prove`: every expectation measured."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from plica.commands.output import has_errors, in_order, show, usage_error
from plica.commands.progress import Step, progress
from plica.diagnostics import Diagnostics
from plica.source import Span

if TYPE_CHECKING:
    from plica.pipeline import Compiled
    from plica.prove.engine import Prover, Subject
    from plica.prove.results import Result
    from plica.prove.sweeps import Track
    from plica.rig.model import Rig

STOPPED = 130


class _Proof(NamedTuple):
    """What was measured, and of what; `complete` unless the run was stopped."""

    rig: Rig
    origins: Mapping[tuple[str, str], Span]
    results: list[Result]
    complete: bool


def prove(options: argparse.Namespace) -> int:
    """Measure and tell; exits with 1 where an expectation fails, and after Ctrl-C with what was done till then."""
    if options.write_baseline and options.baseline is None:
        return usage_error("prove", "--write-baseline needs --baseline FILE, the file to write")
    found = Diagnostics()
    accepted: Mapping[str, float] = {}
    if options.baseline is not None and not options.write_baseline:
        accepted = _baseline(options.baseline, found)
    proof = None
    if not found.has_errors:
        with progress(f"proving {options.spec}") as step:
            proof = _proof(options, found, step)
    if proof is None:
        _show_findings(found, options.format)
        return 1
    if options.write_baseline and proof.complete:
        _write_baseline(options.baseline, proof.results, found)
    return _tell(proof, accepted, options.format, found)


def _tell(proof: _Proof, accepted: Mapping[str, float], form: str, found: Diagnostics) -> int:
    """The report on the standard output; in text the findings stand below it."""
    from plica.prove import report

    failed = any(report.fails(result, accepted) for result in proof.results)
    if form == "json":
        sys.stdout.write(report.json_text(proof.rig, proof.results, accepted, proof.complete))
    elif form == "junit":
        sys.stdout.write(report.junit(proof.rig, proof.results, accepted, proof.origins))
    elif form == "text":
        sys.stdout.write(report.text(proof.results, accepted) + "\n\n")
    if form not in ("json", "junit"):
        report.add_findings(proof.results, accepted, found, proof.origins)
    _show_findings(found, form)
    if not proof.complete:
        sys.stderr.write("stopped; what was measured until then is told\n")
        return STOPPED
    return 1 if failed or has_errors(found.all) else 0


def _show_findings(found: Diagnostics, form: str) -> None:
    """Findings in the form asked for; beside JSON and JUnit's XML as text on the standard error."""
    if form in ("json", "junit"):
        show(in_order(found.all), "text", sys.stderr)
    else:
        show(in_order(found.all), form)


def _proof(options: argparse.Namespace, found: Diagnostics, step: Step) -> _Proof | None:
    from plica.pipeline import compile_file
    from plica.prove.engine import Prover

    step("checking")
    compiled = compile_file(Path(options.spec), options.allow)
    found.extend(one for one in compiled.diagnostics if has_errors([one]))
    if compiled.rig is None and not found.has_errors:
        found.add("nothing-to-build", None, file=options.spec)
    if compiled.rig is None or found.has_errors:
        return None
    subject = _subject(compiled, compiled.rig, options, found, step)
    if subject is None or found.has_errors:
        return None
    results, complete = _measured(Prover(subject), compiled.rig, step)
    return _Proof(compiled.rig, compiled.origins, results, complete)


def _subject(
    compiled: Compiled, rig: Rig, options: argparse.Namespace, found: Diagnostics, step: Step
) -> Subject | None:
    """The rig with its mesh and clips, or None after diagnostics."""
    from plica.mesh.attach import attach
    from plica.prove.engine import Subject
    from plica.workspace import Refused, Workspace

    locate = Workspace(Path(options.spec).parent, options.allow).locate
    attached = None
    if rig.character.geometry is not None:
        attached = attach(rig, locate, found, lambda kind, name: compiled.origins.get((kind, name)), step)
        if attached is None or found.has_errors:
            return None
    step("reading clips")
    clips: dict[str, Sequence[Track]] = {}
    for index, expectation in enumerate(rig.expectations):
        for file in expectation.over_clips:
            path = locate(file)
            span = compiled.origins.get(("expect", str(index)))
            if isinstance(path, Refused):
                found.add_filled(path.name, span, path.values)
            elif file not in clips:
                clips[file] = _tracks(rig, path, file, span, found)
    extra = [track for file in options.clip for track in _tracks(rig, Path(file), file, None, found)]
    return Subject(rig, attached, clips, extra)


def _tracks(rig: Rig, path: Path, shown: str, span: Span | None, found: Diagnostics) -> Sequence[Track]:
    from plica.prove.clip_tracks import tracks_of
    from plica.readers.clips import find_clips

    return tracks_of(rig, find_clips(path, shown, span, found), shown, found, span)


def _measured(prover: Prover, rig: Rig, step: Step) -> tuple[list[Result], bool]:
    """All results in the rig's order; those that a stop left undone are not measured."""
    from plica.prove.results import not_measured

    results: dict[int, Result] = {}
    begun = time.monotonic()

    def tell(what: str, done: int, whole: int) -> None:
        left = f", about {(time.monotonic() - begun) / done * (whole - done):.0f} s left" if done else ""
        counted = f": {done} of {whole} poses" if whole else ""
        step(f"{what}{counted}{left}")

    complete = True
    try:
        for result in prover.results(tell):
            results[result.index] = result
    except KeyboardInterrupt:
        complete = False
    for index, expectation in enumerate(rig.expectations):
        if index not in results:
            results[index] = not_measured(index, expectation, "the run was stopped before")
    return [results[index] for index in sorted(results)], complete


def _baseline(file: str, found: Diagnostics) -> Mapping[str, float]:
    from plica.prove.baseline import UnreadableBaselineError, read

    try:
        return read(Path(file).read_bytes())
    except (OSError, ValueError) as error:
        reason: object = getattr(error, "strerror", None) or error
    except UnreadableBaselineError as error:
        reason = error
    found.add("unreadable-baseline", None, file=file, reason=reason)
    return {}


def _write_baseline(file: str, results: list[Result], found: Diagnostics) -> None:
    from plica.build.writer import write
    from plica.prove.baseline import written

    path = Path(file)
    write({path.name: written(results)}, path.parent, found)
