"""The only place that writes outputs: inside one folder, each file whole or not at all."""

from __future__ import annotations

import os
import secrets
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from plica import regular_files
from plica.diagnostics import Diagnostics
from plica.file_names import folded, problem_of


@dataclass(frozen=True)
class Written:
    """What a run wrote (or, dry, would have): paths relative to the folder; `unchanged` files already had the bytes."""

    written: tuple[str, ...] = ()
    unchanged: tuple[str, ...] = ()


def write(files: Mapping[str, bytes], folder: Path, found: Diagnostics, *, dry_run: bool = False) -> Written | None:
    """Writes files, by path relative to `folder`; None, with diagnostics and nothing changed, where one may not be.

    All files are first written under other names beside their places, then renamed, so that nobody reads half a file.
    A file that already has the bytes is left alone.
    """
    places = _checked_places(files, folder, found)
    if places is None:
        return None
    changed = [path for path, place in places.items() if _content(place) != files[path]]
    unchanged = tuple(path for path in places if path not in set(changed))
    if not dry_run and not _replace_all({places[path]: files[path] for path in changed}, found):
        return None
    return Written(tuple(changed), unchanged)


def outdated(files: Mapping[str, bytes], folder: Path) -> tuple[str, ...]:
    """The paths, sorted, whose file in `folder` is absent or has other bytes."""
    return tuple(path for path in sorted(files) if _content(folder / path) != files[path])


def is_current(files: Mapping[str, bytes], folder: Path) -> bool:
    """Whether all files stand in `folder` with exactly these bytes."""
    return not outdated(files, folder)


def _content(place: Path) -> bytes | None:
    try:
        return regular_files.content(place, "model_bytes")
    except regular_files.Unreadable:
        return None


def _checked_places(files: Mapping[str, bytes], folder: Path, found: Diagnostics) -> dict[str, Path] | None:
    """Where each file goes, sorted by path; None where one would leave the folder or two would share a place."""
    errors = found.count_of_errors
    _refuse_collisions(files, found)
    places: dict[str, Path] = {}
    for path in sorted(files):
        problem = problem_of(path)
        if problem is None:
            places[path] = folder / path
            problem = _problem_on_disk(places[path], folder)
        if problem is not None:
            found.add("path-leaves-folder", None, path=path, problem=problem)
    return None if found.count_of_errors > errors else places


def _problem_on_disk(place: Path, folder: Path) -> str | None:
    """Whether links that exist on disk would lead a file out of the folder, or what is no file stands in its place."""
    try:
        inside = place.resolve().is_relative_to(folder.resolve())
        in_the_way = regular_files.kind_of(place)
    except RuntimeError:
        return "a link on the way goes in a circle"
    except (OSError, ValueError) as error:  # too long a path, one that holds a null character
        return getattr(error, "strerror", None) or str(error)
    if not inside:
        return "a link in the output folder leads out of it"
    return None if in_the_way is None else f"{in_the_way} stands in its place"


def _refuse_collisions(files: Mapping[str, bytes], found: Diagnostics) -> None:
    """Two paths that some systems take for one, and a file where another needs a folder."""
    taken: dict[str, str] = {}
    for path in sorted(files):
        key = folded(path)
        if key in taken:
            found.add("paths-collide", None, first=taken[key], second=path)
        taken.setdefault(key, path)
    for key, path in taken.items():
        steps = key.split("/")
        for end in range(1, len(steps)):
            if (above := "/".join(steps[:end])) in taken:
                found.add("paths-collide", None, first=taken[above], second=path)


def _replace_all(contents: Mapping[Path, bytes], found: Diagnostics) -> bool:
    """Writes all under other names, then renames all; False, with a diagnostic, where the system refuses."""
    staged: dict[Path, Path] = {}
    place = None
    try:
        for place, content in contents.items():
            place.parent.mkdir(parents=True, exist_ok=True)
            beside = place.parent / f".plica-{secrets.token_hex(8)}.part"
            staged[place] = beside
            with beside.open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        for place, beside in staged.items():
            beside.replace(place)
    except OSError as error:
        found.add("file-not-written", None, path=place, problem=error.strerror or error)
        return False
    finally:
        for beside in staged.values():
            with suppress(OSError):
                beside.unlink(missing_ok=True)
    return True
