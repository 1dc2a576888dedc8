"""`plica build`: check a spec and write its targets."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from plica.commands.check import contents
from plica.commands.output import has_errors, in_order, say, show, usage_error
from plica.commands.progress import Step, progress
from plica.diagnostics import Diagnostics

if TYPE_CHECKING:
    from plica.emit.build import Build
    from plica.emit.output_set import OutputSet


def build(options: argparse.Namespace) -> int:
    """Check, emit and write; nothing is written where there is an error."""
    from plica.emit.artifacts import DEFAULT_TARGETS

    targets = tuple(dict.fromkeys(options.target)) or DEFAULT_TARGETS
    for target, key, _ in options.option:
        if target not in targets:
            return usage_error("build", f"--option {target}.{key}: the target `{target}` is not being built")
    diagnostics = Diagnostics()
    with progress(f"building {options.spec}") as step:
        made, lines = emit(Path(options.spec), options, targets, diagnostics, step)
        if made is not None and not options.current:
            written = _write(made, Path(options.out), options.dry_run, diagnostics, step)
            lines += written
    if options.current and made is not None:
        return _tell_current(made, options, diagnostics)
    shown = in_order(diagnostics.all)
    show(shown, options.format)
    if has_errors(shown):
        return 1
    say(*lines, form=options.format)
    return 0


def emit(
    spec: Path, options: argparse.Namespace, targets: Sequence[str], diagnostics: Diagnostics, step: Step
) -> tuple[OutputSet | None, list[str]]:
    """The files of all targets (None where there is an error), and lines about the spec."""
    from plica.emit.artifacts import Request, build_targets
    from plica.emit.prepare import prepare
    from plica.pipeline import compile_file

    step("checking")
    compiled = compile_file(spec, options.allow)
    diagnostics.extend(compiled.diagnostics)
    if compiled.rig is None and not diagnostics.has_errors:
        diagnostics.add("nothing-to-build", None, file=spec)
    if compiled.rig is None or diagnostics.has_errors:
        return None, []
    prepared = prepare(compiled, spec.parent, options.allow, diagnostics, step, options.normals)
    if prepared is None:
        return None, []
    requests = [Request(target, _options_of(target, options.option)) for target in targets]
    made = build_targets(prepared, requests, diagnostics, options.allow_inexpressible, step=step)
    return (None if diagnostics.has_errors else made), _told(prepared)


def _told(made: Build) -> list[str]:
    """What was built: how much of each kind, and what each shape weighs."""
    lines = [contents(made.rig)]
    if made.attached is not None:
        from plica.emit.offsets_table import weights_of_shapes

        lines += weights_of_shapes(made.attached)
    return lines


def _options_of(target: str, given: Sequence[tuple[str, str, str]]) -> dict[str, list[str]]:
    values: dict[str, list[str]] = {}
    for owner, key, value in given:
        if owner == target:
            values.setdefault(key, []).append(value)
    return values


def _write(made: OutputSet, out: Path, dry_run: bool, diagnostics: Diagnostics, step: Step) -> list[str]:
    """Write the files, and lines that tell which, or would be; none where they cannot be."""
    from plica.emit.publish import publish

    step("writing")
    done = publish(made, out, diagnostics, dry_run=dry_run, step=step)
    if done is None:
        return []
    verb = "would write" if dry_run else "wrote"
    lines = [f"{verb} {(out / path).as_posix()}" for path in done.written]
    lines += [f"already current: {(out / path).as_posix()}" for path in done.unchanged]
    return lines


def _tell_current(made: OutputSet, options: argparse.Namespace, diagnostics: Diagnostics) -> int:
    """Say which files on disk are not what this build would write, or do not belong to it."""
    from plica.emit.publish import tell_outdated

    out = Path(options.out)
    count = tell_outdated(made, out, options.spec, diagnostics)
    shown = in_order(diagnostics.all)
    show(shown, options.format)
    if has_errors(shown):
        return 1
    say(f"all {count} files in {out.as_posix()} are current", form=options.format)
    return 0
