"""`plica prove`: every expectation measured."""

from __future__ import annotations

import argparse
import shutil
import sys
from typing import TYPE_CHECKING

import plica
from plica.commands.of_project import AroundSpecs, run_of, show_run
from plica.commands.output import has_errors, in_order, put, remark, show, usage_error, wants_colour
from plica.commands.progress import progress
from plica.commands.stopping import stopping
from plica.diagnostics import Diagnostic

if TYPE_CHECKING:
    from plica.api.projects import SpecResult
    from plica.api.proving import ProofReport

STOPPED = 130


def prove(options: argparse.Namespace) -> int:
    """Measure and tell; exits with 1 where an expectation does not hold, with 130 after Ctrl-C or a request to end."""
    if options.write_baseline and options.baseline is None:
        return usage_error("prove", "--write-baseline needs --baseline FILE, the file to write")
    if options.spec is None:
        return _prove_project(options)
    projects = AroundSpecs(options.allow)
    report = _report(options, projects)
    diagnostics = (*projects.diagnostics, *projects.accepted(report.diagnostics, options.spec))
    if not report.results and has_errors(diagnostics):
        _show_findings(diagnostics, options.format)
        return 1
    if options.write_baseline and not report.incomplete:
        diagnostics += plica.write_baseline(report, options.baseline)
    return _tell(report, diagnostics, options)


def _report(options: argparse.Namespace, projects: AroundSpecs) -> ProofReport:
    with progress(f"proving {options.spec}") as step, stopping() as asked:

        def tell(what: str) -> None:
            asked.heed()
            step(what)

        step("checking")
        return plica.prove_expectations(
            plica.compile_file(options.spec, allow=projects.allow(options.spec)),
            clips=options.clip or projects.clips(options.spec),
            start=options.start,
            stop=options.stop,
            stance_at=options.stance_at,
            baseline=None if options.write_baseline else options.baseline,
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
            every_pose=options.poses,
            allow_unmeasured=options.allow_unmeasured,
            **common,
        ),
    )
    if isinstance(run, int):
        return run
    return show_run(run, options.format, "prove", _table)


def _table(result: SpecResult) -> list[str]:
    """The table of a character's figures below its name."""
    text = result.outcome.document("text")
    return [result.file, *text.split("\n"), ""] if text else []


def _tell(report: ProofReport, diagnostics: tuple[Diagnostic, ...], options: argparse.Namespace) -> int:
    """The report on the standard output; in text the findings stand below it."""
    form = options.format
    if form == "json":
        put(report.json())
    elif form == "junit":
        put(report.junit())
    elif form == "text":
        width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
        put(report.text(width, wants_colour(sys.stdout), options.poses) + "\n\n")
    if form not in ("json", "junit"):
        diagnostics += report.verdicts
    _show_findings(diagnostics, form)
    _tell_of_the_cache(report)
    if report.stopped:
        remark(f"stopped; what was measured until then is told{_kept(report)}")
        return STOPPED
    unknown = bool(report.unknown) and not options.allow_unmeasured
    return 1 if report.failed or unknown or has_errors(diagnostics) else 0


def _tell_of_the_cache(report: ProofReport) -> None:
    """How much of the work had been done before: for somebody who watches."""
    recalled, measured = report.tally
    if report.cache is not None and report.cache.problem:
        remark(f"nothing could be kept in the cache {report.cache.folder}: {report.cache.problem}")
    if recalled and sys.stderr.isatty():
        share = f"{recalled} of {recalled + measured}"
        remark(f"{share} figures of the skin came from the cache; --no-cache measures all anew")


def _kept(report: ProofReport) -> str:
    nothing = report.cache is None or report.cache.problem
    return "" if nothing else ", and kept in the cache: the next run goes on from there"


def _show_findings(diagnostics: tuple[Diagnostic, ...], form: str) -> None:
    """Findings in the form asked for; beside JSON and JUnit's XML as text on the standard error."""
    if form in ("json", "junit"):
        show(in_order(diagnostics), "text", sys.stderr)
    else:
        show(in_order(diagnostics), form, command="prove")
