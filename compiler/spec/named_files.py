"""Files that a spec or a library names and that cannot be used: what is wrong, and what was most likely meant."""

from __future__ import annotations

import os
from itertools import islice
from pathlib import Path

from plica import observations, regular_files
from plica.diagnostics import Diagnostics, Fix
from plica.diagnostics.suggest import closest
from plica.source import Span
from plica.syntax.builder import encode_text
from plica.workspace import Refused, Workspace

MOST_LISTED = 1000  # entries of a folder that are looked through for a similar name


def report_refused(
    refused: Refused,
    text: str,
    span: Span,
    diagnostics: Diagnostics,
    workspace: Workspace,
    beside: Path | None = None,
    hint: str | None = None,
) -> None:
    """Tell why a file cannot be used.

    text: what was meant, placeholders filled. span: of the quoted text. beside: the folder that it is looked up from
    (default: the workspace's own). hint: what to do where it is not there and nothing there has a similar name.
    """
    written = span.source.text[span.start : span.end]
    if refused.name == "missing-file" and report_backslash(span, diagnostics):
        return
    missing = _missing_step(text, beside or workspace.root, workspace) if refused.name == "missing-file" else None
    if missing is None:
        diagnostics.add_filled(refused.name, span, refused.values)
        return
    folder, step, rest = missing
    near = closest(step, _names_in(folder, workspace, files=not rest))
    above = text.replace("\\", "/").split("/")[: -len(rest) - 1]
    meant = None if near is None else "/".join([*above, near, *rest])
    hint = hint if near is None else f"did you mean `{near if rest else meant}`?"
    fix = Fix(span, encode_text(meant)) if meant is not None and "{" not in written else None
    if rest:
        diagnostics.add("missing-folder", span, name="/".join([*above, step]), hint=hint, fix=fix)
    elif refused.values.get("reason") == "not there":
        diagnostics.add("missing-file", span, hint=hint, fix=fix, file=text, reason="not there")
    else:
        diagnostics.add_filled(refused.name, span, refused.values)


def report_backslash(span: Span, diagnostics: Diagnostics) -> bool:
    """Tell of `\\` between folders in a quoted path; whether there is one."""
    written = span.source.text[span.start : span.end]
    if "\\" not in written.replace("\\\\", ""):
        return False
    right = written.replace("\\\\", "/").replace("\\", "/")
    diagnostics.add("backslash-in-path", span, hint=f"write {right}", fix=Fix(span, right))
    return True


def _missing_step(text: str, start: Path, workspace: Workspace) -> tuple[Path, str, list[str]] | None:
    """The first step of a path that is not there, the folder that lacks it, and the steps after it."""
    steps = text.replace("\\", "/").split("/")
    folder = start
    for index, step in enumerate(steps):
        try:
            place = regular_files.resolved(folder / step)
            if not workspace.holds(place):
                return None
            is_there = regular_files.is_file(place) or regular_files.kind_of(place) is not None
        except (OSError, RuntimeError, ValueError):
            return None
        if not is_there:
            return folder, step, steps[index + 1 :]
        folder = folder / step
    return None


def _names_in(folder: Path, workspace: Workspace, *, files: bool) -> list[str]:
    """The names of files, or of folders, in a folder that may be read; what is hidden is left out."""
    observations.doubt()  # names that come later would be meant, too
    try:
        if not workspace.holds(folder.resolve()):
            return []
        with os.scandir(folder) as entries:
            listed = list(islice(entries, MOST_LISTED))
            return sorted(entry.name for entry in listed if not entry.name.startswith(".") and entry.is_file() == files)
    except OSError:
        return []
