"""`plica prove`: every expectation measured."""

from __future__ import annotations

import argparse
import shutil
import sys
from functools import partial
from typing import TYPE_CHECKING

import plica
from plica.commands.of_project import AroundSpecs, run_of, show_run
from plica.commands.output import has_errors, in_order, put, remark, show, usage_error, wants_colour
from plica.commands.progress import progress
from plica.commands.stopping import stopping
from plica.diagnostics import Diagnostic

if TYPE_CHECKING:
    from plica.api.projects import SpecResult
    from plica.api.proving_files import FileProof

STOPPED = 130


def prove(options: argparse.Namespace) -> int:
    """Measure and tell; exits with 1 where an expectation does not hold, with 130 after Ctrl-C or a request to end."""
    if options.write_baseline and options.baseline is None:
        return usage_error("prove", "--write-baseline needs --baseline FILE, the file to write")
    if options.spec is None:
        return _prove_project(options)
    projects = AroundSpecs(options.allow)
    proof = _proof(options, projects)
    diagnostics = (*projects.diagnostics, *projects.accepted(proof.diagnostics, options.spec))
    if proof.table is None:
        _show_findings(diagnostics, options.format)
        return 1
    return _tell(proof, diagnostics, options)


def _proof(options: argparse.Namespace, projects: AroundSpecs) -> FileProof:
    with progress(f"proving {options.spec}") as step, stopping() as asked:

        def tell(what: str) -> None:
            asked.heed()
            step(what)

        return plica.prove_file(
            options.spec,
            allow=projects.allow(options.spec),
            clips=options.clip or projects.clips(options.spec, are_needed=not options.allow_unmeasured),
            start=options.start,
            stop=options.stop,
            stance_at=options.stance_at,
            baseline=options.baseline,
            write_baseline=options.write_baseline,
            allow_unmeasured=options.allow_unmeasured,
            pictures=options.pictures,
            cache=False if options.no_cache else True if options.cache is None else options.cache,
            workers=options.workers,
            scheduler=options.scheduler,
            progress=tell,
        )


def _prove_project(options: argparse.Namespace) -> int:
    for name in ("baseline", "write_baseline", "pictures", "scheduler"):
        if getattr(options, name):
            return usage_error("prove", f"--{name.replace('_', '-')} needs a SPEC")
    from plica.api.projects import prove_project

    run = run_of(
        "prove",
        options,
        lambda found, **common: prove_project(
            found,
            clips=options.clip,
            start=options.start,
            stop=options.stop,
            stance_at=options.stance_at,
            allow_unmeasured=options.allow_unmeasured,
            **common,
        ),
    )
    if isinstance(run, int):
        return run
    return show_run(run, options.format, "prove", partial(_table, every_pose=options.poses))


def _table(result: SpecResult, every_pose: bool) -> list[str]:
    """The table of a character's figures below its name."""
    text = result.table(every_pose)
    return [result.file, *text.split("\n"), ""] if text else []


def _tell(proof: FileProof, diagnostics: tuple[Diagnostic, ...], options: argparse.Namespace) -> int:
    """The proof on the standard output; in text the findings stand below it."""
    form = options.format
    if form == "json":
        put(proof.json())
    elif form == "junit":
        put(proof.junit())
    elif form == "text":
        width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
        put(proof.text(width, wants_colour(sys.stdout), options.poses) + "\n\n")
    if form not in ("json", "junit"):
        diagnostics += proof.verdicts
    _show_findings(diagnostics, form)
    _tell_of_the_cache(proof)
    if proof.stopped:
        remark(f"stopped; what was measured until then is told{_kept(proof)}")
        return STOPPED
    return 1 if proof.failed or has_errors(diagnostics) else 0


def _tell_of_the_cache(proof: FileProof) -> None:
    """How much of the work had been done before: for somebody who watches."""
    if proof.problem:
        remark(f"nothing could be kept in the cache {proof.problem}")
    if not sys.stderr.isatty():
        return
    if proof.report is None:
        remark("nothing has changed since this was measured; --no-cache measures all anew")
    elif proof.report.tally.recalled:
        recalled, measured = proof.report.tally
        share = f"{recalled} of {recalled + measured}"
        remark(f"{share} figures of the skin came from the cache; --no-cache measures all anew")


def _kept(proof: FileProof) -> str:
    nothing = proof.report is None or proof.report.cache is None or proof.problem
    return "" if nothing else ", and kept in the cache: the next run goes on from there"


def _show_findings(diagnostics: tuple[Diagnostic, ...], form: str) -> None:
    """Findings in the form asked for; beside JSON and JUnit's XML as text on the standard error."""
    if form in ("json", "junit"):
        show(in_order(diagnostics), "text", sys.stderr)
    else:
        show(in_order(diagnostics), form, command="prove")
