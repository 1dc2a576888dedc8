"""The files of a project that its patterns match.

A pattern is a path from the project's folder, its steps parted by `/`. In a step `*` stands for any characters and `?`
for one; a step `**` for any number of folders, none included. What begins with a point is matched only by a step that
does. Links are followed as long as they stay inside the project, but not by `**`, which could go round in circles.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

from plica import file_names, limits
from plica.diagnostics import Diagnostics
from plica.project.settings import Pattern

MOST_STEPS = 64  # of a pattern
_ANY_FOLDERS = "**"


class TooManyEntriesError(Exception):
    """More files and folders were come across than the limit `project-entries`."""


def problem_of(text: str) -> str | None:
    """Why a pattern, or a path in a project, cannot be used; "" where it leads outside, None where it can be used."""
    if "\\" in text:
        return "steps are parted by `/`, on every system"
    if text.startswith("/") or re.match(r"[A-Za-z]:", text) or ".." in text.split("/"):
        return ""
    steps = steps_of(text)
    if not 0 < len(steps) <= MOST_STEPS:
        return f"it has {len(steps)} steps; 1 to {MOST_STEPS} are taken"
    for step in steps:
        plain = re.sub(r"[*?]", "x", step)
        if (problem := file_names.problem_of_step(plain)) is not None:
            return problem
    return None


class Matcher:
    """Matches patterns in one project's folder; what it may look at is bounded for all of them together."""

    def __init__(self, root: Path, diagnostics: Diagnostics) -> None:
        self._root, self._diagnostics = root, diagnostics
        self._real_root = os.path.realpath(root)
        self._left = limits.in_force().project_entries
        self._folders: dict[str, list[os.DirEntry[str]]] = {}

    def files(self, patterns: Iterable[Pattern], nothing: str = "nothing-matches") -> dict[Path, None]:
        """The files that match any of the patterns, each once, sorted by path.

        nothing: the diagnostic for each pattern that was written and matches no file.

        Raises TooManyEntriesError.
        """
        result: dict[str, None] = {}
        for pattern in patterns:
            hits = dict.fromkeys(self._below(str(self._root), steps_of(pattern.text), pattern))
            result.update(hits)
            if not hits and pattern.at is not None:
                self._diagnostics.add(nothing, pattern.at, pattern=pattern.text)
        return dict.fromkeys(sorted(map(Path, result)))

    def _below(self, folder: str, steps: list[str], pattern: Pattern) -> Iterator[str]:
        """The files below a folder; without recursion over folders, however deep they are."""
        pending, known = [(folder, 0)], {(folder, 0)}
        while pending:
            place, at = pending.pop()
            reached = self._step(place, at, steps, pattern)
            for path, after in reached:
                if after == len(steps):
                    yield path
                elif (path, after) not in known:
                    known.add((path, after))
                    pending.append((path, after))

    def _step(self, place: str, at: int, steps: list[str], pattern: Pattern) -> Iterator[tuple[str, int]]:
        """What one step leads to from a folder: folders with the number of the next step, and files with the last."""
        if steps[at] == _ANY_FOLDERS:
            if at + 1 < len(steps):
                yield place, at + 1
            for entry in self._entries(place):
                is_folder = _is_folder(entry)
                if not _hidden(entry.name) and (is_folder or at + 1 == len(steps)):
                    yield entry.path, at if is_folder else len(steps)
            return
        for entry in self._entries(place):
            if fits(steps[at], entry.name):
                is_last = at + 1 == len(steps)
                if _is_folder(entry, links=True) != is_last and self._stays_inside(entry, pattern):
                    yield entry.path, at + 1

    def _entries(self, folder: str) -> list[os.DirEntry[str]]:
        known = self._folders.get(folder)
        if known is None:
            known = self._folders[folder] = sorted(self._listed(folder), key=lambda entry: entry.name)
        else:
            self._look(len(known))
        return known

    def _listed(self, folder: str) -> Iterator[os.DirEntry[str]]:
        try:
            with os.scandir(folder) as entries:
                for entry in entries:
                    self._look(1)
                    yield entry
        except OSError as error:
            problem = error.strerror or error
            self._diagnostics.add("unreadable-folder", None, folder=self._shown(folder), problem=problem)

    def _look(self, count: int) -> None:
        self._left -= count
        if self._left < 0:
            raise TooManyEntriesError

    def _stays_inside(self, entry: os.DirEntry[str], pattern: Pattern) -> bool:
        if not entry.is_symlink():
            return True
        try:
            real = os.path.realpath(entry.path)
        except OSError:
            return False
        if Path(real).is_relative_to(self._real_root):
            return True
        self._diagnostics.add("outside-project", pattern.at, path=self._shown(entry.path))
        return False

    def _shown(self, path: str) -> str:
        return Path(path).relative_to(self._root).as_posix()


def matches(pattern: str, path: str) -> bool:
    """Whether a pattern matches a path, both from the project's folder."""
    steps = steps_of(pattern)
    reached = {0}
    for name in path.split("/"):
        after: set[int] = set()
        for at in _with_skipped(steps, reached):
            if at < len(steps) and steps[at] == _ANY_FOLDERS:
                after |= set() if _hidden(name) else {at}
            elif at < len(steps) and fits(steps[at], name):
                after.add(at + 1)
        reached = after
    return len(steps) in _with_skipped(steps, reached)


def _with_skipped(steps: list[str], reached: set[int]) -> set[int]:
    """The places in a pattern that are reached where each `**` may stand for nothing."""
    result = set(reached)
    for at, step in enumerate(steps):
        if at in result and step == _ANY_FOLDERS:
            result.add(at + 1)
    return result


def steps_of(pattern: str) -> list[str]:
    """The steps of a pattern."""
    return [step for step in pattern.split("/") if step not in ("", ".")]


def fits(step: str, name: str) -> bool:
    """Whether a name fits one step of a pattern."""
    return (step.startswith(".") or not _hidden(name)) and _expression(step).fullmatch(name) is not None


@cache
def _expression(step: str) -> re.Pattern[str]:
    """A step as an expression that never goes back over what fitted: the earliest place of a part is good enough."""
    first, *others = (re.escape(part).replace(r"\?", ".") for part in re.split(r"\*+", step))
    if others:
        first += "".join(f"(?>.*?{part})" for part in others[:-1]) + f".*{others[-1]}"
    return re.compile(first, re.DOTALL)


def _is_folder(entry: os.DirEntry[str], links: bool = False) -> bool:
    try:
        return entry.is_dir(follow_symlinks=links)
    except OSError:
        return False


def _hidden(name: str) -> bool:
    return name.startswith(".")
