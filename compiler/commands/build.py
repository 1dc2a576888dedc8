"""`plica build`: check a spec and write its targets."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import plica
from plica.api.contents import contents
from plica.commands.of_project import AroundSpecs, run_of, show_run
from plica.commands.output import has_errors, in_order, say, show, usage_error
from plica.commands.progress import progress

if TYPE_CHECKING:
    from plica.api.building import BuiltFiles, WrittenFiles
    from plica.diagnostics import Diagnostic


def build(options: argparse.Namespace) -> int:
    """Check, emit and write; nothing is written where there is an error."""
    if options.spec is None:
        return _build_project(options)
    from plica.api.building import USUAL_TARGETS

    if options.out is None:
        return usage_error("build", "--out DIR is needed with a SPEC, the folder to write to")
    projects = AroundSpecs(options.allow)

    targets = tuple(dict.fromkeys(options.target)) or USUAL_TARGETS
    for target, key, _ in options.option:
        if target not in targets:
            return usage_error("build", f"--option {target}.{key}: the target `{target}` is not being built")
    diagnostics: tuple[Diagnostic, ...] = ()
    lines: list[str] = []
    with progress(f"building {options.spec}") as step:
        step("checking")
        built = plica.build_files(
            plica.compile_file(options.spec, allow=projects.allow(options.spec)),
            targets,
            options=_by_target(options.option),
            normals=options.normals,
            allow_inexpressible=options.allow_inexpressible,
            progress=step,
        )
        if built.ok and options.current:
            state = plica.compare_folder(built, options.out)
            diagnostics = state.diagnostics
            lines = [f"all {state.count} files in {Path(options.out).as_posix()} are current"]
        elif built.ok and not has_errors(projects.diagnostics):
            step("writing")
            done = plica.write_files(built, options.out, dry_run=options.dry_run, progress=step)
            diagnostics = done.diagnostics
            lines = [*_about(built), *_written(done, options.dry_run)]
    found = projects.accepted((*built.diagnostics, *diagnostics), options.spec)
    shown = in_order((*projects.diagnostics, *found))
    show(shown, options.format, command="build")
    if has_errors(shown):
        return 1
    say(*lines, form=options.format)
    return 0


def _build_project(options: argparse.Namespace) -> int:
    from plica.api.projects import build_project

    run = run_of(
        "build",
        options,
        lambda found, **common: build_project(
            found,
            folder=options.out,
            targets=options.target,
            options=_by_target(options.option),
            normals=options.normals,
            allow_inexpressible=options.allow_inexpressible,
            dry_run=options.dry_run,
            current=options.current,
            **common,
        ),
    )
    return run if isinstance(run, int) else show_run(run, options.format, "build")


def _about(built: BuiltFiles) -> list[str]:
    """What was built: how much of each kind, and what each shape weighs."""
    return [contents(built.character.rig), *built.shape_sizes]


def _by_target(given: Sequence[tuple[str, str, str]]) -> dict[str, dict[str, list[str]]]:
    values: dict[str, dict[str, list[str]]] = {}
    for target, key, value in given:
        values.setdefault(target, {}).setdefault(key, []).append(value)
    return values


def _written(done: WrittenFiles, dry_run: bool) -> list[str]:
    """Lines that tell which files were written, or would be."""
    verb = "would write" if dry_run else "wrote"
    lines = [f"{verb} {(done.folder / path).as_posix()}" for path in done.written]
    return lines + [f"already current: {(done.folder / path).as_posix()}" for path in done.unchanged]
