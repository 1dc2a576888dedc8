"""The only place that writes outputs: inside one folder, all files or none, by one process at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from plica import regular_files
from plica.diagnostics import Diagnostics
from plica.emit.exchange import ExchangeError, Standing, content_of, exchange, has_leftovers, remove_leftovers
from plica.emit.lock import WAIT_SECONDS, FolderBusyError, locked
from plica.file_names import folded, problem_of


@dataclass(frozen=True)
class Written:
    """What a run wrote (or, dry, would have): paths relative to the folder; `unchanged` files already had the bytes."""

    written: tuple[str, ...] = ()
    unchanged: tuple[str, ...] = ()


Step = Callable[[str], None]


def write(
    files: Mapping[str, bytes], folder: Path, diagnostics: Diagnostics, *, dry_run: bool = False
) -> Written | None:
    """Writes files, by path relative to `folder`; None, with diagnostics, where that cannot be.

    All files are first written under other names, then renamed, so that nobody reads half a file, and where one cannot
    be renamed all is put back; the diagnostics say what is there. A file that already has the bytes is left alone.
    """
    places = checked_places(files, folder, diagnostics)
    if places is None:
        return None
    changed = outdated(files, folder)
    if changed and not dry_run:
        with holding(folder, diagnostics) as held:
            if not held or not put({places[path]: files[path] for path in changed}, folder, diagnostics):
                return None
    elif not dry_run:
        tidy(folder, {place.parent for place in places.values()})
    return Written(changed, tuple(path for path in places if path not in set(changed)))


def outdated(files: Mapping[str, bytes], folder: Path) -> tuple[str, ...]:
    """The paths, sorted, whose file in `folder` is absent or has other bytes."""
    return tuple(path for path in sorted(files) if content_of(folder / path) != files[path])


def is_current(files: Mapping[str, bytes], folder: Path) -> bool:
    """Whether all files stand in `folder` with exactly these bytes."""
    return not outdated(files, folder)


@contextmanager
def holding(folder: Path, diagnostics: Diagnostics, step: Step = lambda text: None) -> Iterator[bool]:
    """Holds the folder's lock, makes the folder where there is none; gives whether it could, diagnostics where not."""
    with ExitStack() as stack:
        held = False
        try:
            folder.mkdir(parents=True, exist_ok=True)
            waiting = partial(step, "waiting for another build that writes into the folder")
            if not stack.enter_context(locked(folder, waiting, WAIT_SECONDS)):
                diagnostics.add("folder-without-locks", None, folder=folder.as_posix())
            held = True
        except FolderBusyError:
            diagnostics.add("folder-busy", None, folder=folder.as_posix())
        except (FileExistsError, NotADirectoryError):
            problem = "a folder is wanted, and a file of that name, or above it, is in the way"
            diagnostics.add(
                "file-not-written", None, path=folder.as_posix(), problem=problem, hint="give another folder"
            )
        except (OSError, ValueError) as error:
            problem = getattr(error, "strerror", None) or str(error)
            diagnostics.add("file-not-written", None, path=folder.as_posix(), problem=problem)
        yield held


def tidy(folder: Path, more: Iterable[Path] = ()) -> None:
    """Removes what killed builds left in the folder and in `more`, unless somebody is writing there."""
    folders = dict.fromkeys((folder, *more))
    if any(has_leftovers(each) for each in folders):
        with suppress(OSError), locked(folder, lambda: None, 0.0):
            remove_leftovers(folders)


def put(contents: Mapping[Path, bytes], folder: Path, diagnostics: Diagnostics, more: Iterable[Path] = ()) -> bool:
    """Puts files in their places, for whoever holds the folder's lock; False, with a diagnostic, where that fails.

    What killed builds left in the folder, in the places' folders and in `more` is removed.
    """
    remove_leftovers(dict.fromkeys((folder, *(place.parent for place in contents), *more)))
    try:
        exchange(folder, contents)
    except ExchangeError as error:
        path = error.place.as_posix()
        if error.is_as_before:
            diagnostics.add("file-not-written", None, path=path, problem=error.problem)
        else:
            standing = _told(error.standing, folder)
            diagnostics.add("files-half-written", None, path=path, problem=error.problem, standing=standing)
        return False
    return True


def _told(standing: Mapping[Path, Standing], folder: Path) -> str:
    """What is there now, place by place, in words: new: `a`, `b`; missing: `c`."""
    lists = {one: [path for path, now in standing.items() if now is one] for one in Standing}
    return "; ".join(
        f"{one.value}: {', '.join(f'`{path.relative_to(folder).as_posix()}`' for path in paths)}"
        for one, paths in lists.items()
        if paths
    )


def checked_places(
    files: Mapping[str, bytes], folder: Path, diagnostics: Diagnostics, manifest: str | None = None
) -> dict[str, Path] | None:
    """Where each file goes, sorted by path; None where one would leave the folder or two would share a place.

    `manifest` is a further file of the set, which no other may be.
    """
    errors = diagnostics.count_of_errors
    paths = sorted(files) if manifest is None else [*sorted(files), manifest]
    _refuse_collisions(paths, diagnostics)
    places: dict[str, Path] = {}
    for path in paths:
        problem = problem_of(path)
        if problem is None:
            places[path] = folder / path
            problem = _problem_on_disk(places[path], folder)
        if problem is not None:
            diagnostics.add("path-leaves-folder", None, path=path, problem=problem)
    return None if diagnostics.count_of_errors > errors else places


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


def _refuse_collisions(paths: Iterable[str], diagnostics: Diagnostics) -> None:
    """Two paths that some systems take for one, and a file where another needs a folder."""
    taken: dict[str, str] = {}
    for path in sorted(paths):
        key = folded(path)
        if key in taken:
            diagnostics.add("paths-collide", None, first=taken[key], second=path)
        taken.setdefault(key, path)
    for key, path in taken.items():
        steps = key.split("/")
        for end in range(1, len(steps)):
            if (above := "/".join(steps[:end])) in taken:
                diagnostics.add("paths-collide", None, first=taken[above], second=path)
