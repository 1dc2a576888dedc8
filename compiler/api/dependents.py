"""Specs that depend on files which changed: what uses a library, a model, a sculpt or an image, found by looking."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

from plica import limits, observations
from plica.api.character import Character, FilePath, compile_file
from plica.api.found_project import find_project
from plica.diagnostics import Diagnostic, Diagnostics
from plica.project.members import shown
from plica.project.patterns import Matcher, TooManyEntriesError
from plica.project.root import FILE
from plica.project.settings import Pattern


class PossibleUsers(NamedTuple):
    """Specs among which those are that depend on some files, as a user would name them.

    given: those that are themselves among the files. others: all of the projects that the files lie in, or of the
    repository where there is no project. everything: the others whose project's own settings are among the files.
    diagnostics: what kept some from being found.
    """

    given: tuple[str, ...]
    others: tuple[str, ...]
    everything: frozenset[str]
    diagnostics: tuple[Diagnostic, ...]


def possible_users(files: Sequence[FilePath]) -> PossibleUsers:
    """The specs that may depend on files. Nothing is compiled."""
    diagnostics: dict[Diagnostic, None] = {}
    paths = [Path(file) for file in files]
    given = [path.as_posix() for path in paths if path.name.endswith(".plica")]
    known = {os.path.realpath(path) for path in given}
    others: dict[str, None] = {}
    everything: set[str] = set()
    for folder in dict.fromkeys(path.parent for path in paths):
        specs, told = _specs_around(folder)
        diagnostics.update(dict.fromkeys(told))
        found = [shown(path) for path in specs if os.path.realpath(path) not in known]
        others.update(dict.fromkeys(found))
        if folder / FILE in paths:
            everything.update(found)
    return PossibleUsers(tuple(given), tuple(others), frozenset(everything), tuple(diagnostics))


def compile_and_look(spec: FilePath, allow: Iterable[FilePath]) -> tuple[Character, frozenset[str]]:
    """A spec compiled, and the real paths of all that was looked at for it, also of what is not there."""
    with observations.noting() as noted:
        character = compile_file(spec, allow=allow)
    looked_at = {one.path for one in noted.seen} | {str(path) for path in noted.whole_files}
    return character, frozenset(map(os.path.realpath, looked_at))


def libraries_of(character: Character) -> frozenset[str]:
    """The real paths of the libraries that a character was checked with; none for a library."""
    if character.compiled is None or character.is_library:
        return frozenset()
    return frozenset(os.path.realpath(document.source.path) for document in character.compiled.documents[1:])


def _specs_around(folder: Path) -> tuple[Iterable[Path], tuple[Diagnostic, ...]]:
    """The specs of the project of a folder, or of the repository that it lies in, and what was found wrong there."""
    project = find_project(folder)
    if project.root is not None:
        members, told = project.members()
        return (() if members is None else members.specs), (*project.diagnostics, *told)
    diagnostics = Diagnostics()
    try:
        return tuple(Matcher(_top(folder), diagnostics).files([Pattern("**/*.plica", None)])), diagnostics.all
    except TooManyEntriesError:
        most = str(limits.in_force().project_entries)
        values = {"what": "looking for specs", "count": f"more than {most} files and folders"}
        diagnostics.add_filled("over-limit", None, {**values, "limit": most, "name": limits.shown("project_entries")})
        return (), diagnostics.all


def _top(folder: Path) -> Path:
    """The top of the git repository that a folder lies in; where there is none, the working folder or the folder."""
    place = Path(os.path.abspath(folder))  # noqa: PTH100 - without following links
    for one in (place, *place.parents):
        if (one / ".git").exists():
            return one
    here = Path.cwd()
    return here if place.is_relative_to(here) else place
