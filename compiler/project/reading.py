"""Reading a project's `plica.toml`; each mistake in it is told at its place.

What a commit can change must not widen what may be read: every path in the file stays inside the folder that the file
lies in, links followed. What lies elsewhere is allowed by whoever runs Plica.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from plica.diagnostics import Diagnostics
from plica.plain_data import UnreadableDataError, toml_of
from plica.project.checked_settings import CheckedSettings
from plica.project.places import Places
from plica.project.root import FILE
from plica.project.settings import Project
from plica.source import Source, Span
from plica.workspace import Refused, Workspace

_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


def read_project(root: Path, shown: str, diagnostics: Diagnostics) -> Project | None:
    """The project whose `plica.toml` lies in `root`; None, with diagnostics, where it has a mistake.

    shown: what the file is called in messages.
    """
    text = Workspace(root).read_text(root / FILE, shown, "project_bytes")
    if isinstance(text, Refused):
        diagnostics.add_filled(text.name, None, text.values)
        return None
    return project_of(text, root, shown, diagnostics)


def project_of(text: str, root: Path, shown: str, diagnostics: Diagnostics) -> Project | None:
    """The project that a text describes; None, with diagnostics, where it has a mistake."""
    source = Source(shown, text)
    held = _table(source, diagnostics)
    if held is None:
        return None
    errors = diagnostics.count_of_errors
    settings = CheckedSettings(held, Places(source), root, diagnostics)
    project = settings.project(shown)
    return project if diagnostics.count_of_errors == errors else None


def _table(source: Source, diagnostics: Diagnostics) -> dict[str, Any] | None:
    """The TOML table; None, with a diagnostic, where there is none."""
    try:
        return toml_of(source.text.replace("\r\n", "\n"))
    except UnreadableDataError as error:
        problem = str(error)
        match = _PLACE.search(problem)
        place = Span(source, 0, 0) if match is None else _place(source, match)
        problem = problem if match is None else problem[: match.start()]
        diagnostics.add("unreadable-project", place, problem=problem[:1].lower() + problem[1:])
        return None


def _place(source: Source, match: re.Match[str]) -> Span:
    """Where Python's reader stopped: the rest of the word there, or of the line."""
    if match[1] is None:
        return Span(source, len(source.text), len(source.text))
    start = min(
        source.line_starts[min(int(match[1]), len(source.line_starts)) - 1] + int(match[2]) - 1, len(source.text)
    )
    word = re.compile(r"[^\s,=\[\]{}#]*").match(source.text, start)
    return Span(source, start, max(start, word.end() if word else start))
