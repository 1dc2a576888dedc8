"""The files of a project: its characters, its libraries and its clips; and how they are called."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from plica import limits
from plica.diagnostics import Diagnostics
from plica.project.patterns import Matcher, TooManyEntriesError
from plica.project.root import FILE
from plica.project.settings import Project


class Members(NamedTuple):
    """Absolute paths, each list sorted. What is a character's spec is no library."""

    characters: tuple[Path, ...]
    libraries: tuple[Path, ...]
    clips: tuple[Path, ...]

    @property
    def specs(self) -> tuple[Path, ...]:
        """Characters and libraries."""
        return (*self.characters, *self.libraries)


def members(project: Project, diagnostics: Diagnostics, needs_clips: bool = False) -> Members | None:
    """What the patterns match; None, with diagnostics, where there are no characters or too many files to look at.

    needs_clips: whether what is wanted rests on all of the project's clips, so that a pattern without any is an error.
    """
    matcher = Matcher(project.root, diagnostics)
    errors = diagnostics.count_of_errors
    try:
        characters, libraries = matcher.files(project.characters), matcher.files(project.libraries)
        clips = matcher.files(project.clips, "no-clips" if needs_clips else "nothing-matches")
    except TooManyEntriesError:
        most = str(limits.in_force().project_entries)
        values = {"what": "looking for the project's files", "count": f"more than {most} files and folders"}
        values |= {"limit": most, "name": limits.shown("project_entries")}
        diagnostics.add_filled("over-limit", None, values)
        return None
    if not characters and diagnostics.count_of_errors == errors:
        listed = " or ".join(f"`{pattern.text}`" for pattern in project.characters)
        reason = f"no file matches {listed}" if listed else "the list `characters` is empty"
        diagnostics.add("no-characters", None, reason=reason)
    others = tuple(path for path in libraries if path not in characters)
    return None if diagnostics.count_of_errors > errors else Members(tuple(characters), others, tuple(clips))


def shown(path: Path) -> str:
    """What a file is called in messages: its path from the working folder, where there is a way."""
    try:
        return Path(os.path.relpath(path)).as_posix()
    except ValueError:  # another drive
        return path.as_posix()


def shown_file(root: Path) -> str:
    """What the `plica.toml` of a project is called in messages."""
    return shown(root / FILE)


def inside(project: Project, path: str) -> str | None:
    """A path of a message, from the project's folder; None for what lies elsewhere."""
    try:
        step = os.path.relpath(path, project.root)
    except ValueError:
        return None
    return None if step.startswith("..") else Path(step).as_posix()


def within(patterns: Iterable[str], path: str | None) -> bool:
    """Whether a path from the project's folder matches any of the patterns; all do where there are none."""
    from plica.project.patterns import matches

    listed = tuple(patterns)
    return not listed or (path is not None and any(matches(pattern, path) for pattern in listed))
