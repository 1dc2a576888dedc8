"""Writing the files of a build as one set: the manifest last, and a word about what earlier builds left beside them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from plica import regular_files
from plica.diagnostics import Diagnostics
from plica.emit.exchange import digest_of_place
from plica.emit.output_set import (
    ENDING,
    Manifest,
    ManifestEntry,
    ManifestError,
    OutputSet,
    digest,
    manifest_bytes,
    manifest_of,
    read_manifest,
)
from plica.emit.writer import Step, Written, checked_places, holding, outdated, put, tidy
from plica.file_names import folded, problem_of


@dataclass(frozen=True)
class _Plan:
    """What is to stand in the folder, the manifest last, and entries of earlier builds that are no part of this one."""

    files: Mapping[str, bytes]
    strange: tuple[ManifestEntry, ...]


def publish(
    made: OutputSet, folder: Path, diagnostics: Diagnostics, *, dry_run: bool = False, step: Step = lambda text: None
) -> Written | None:
    """Writes a set; None, with diagnostics, where that cannot be. What is changed already is not written again.

    The manifest goes on listing files that earlier builds wrote, under their own ids, and warnings name those that do
    not belong to this build. `step` is called where another build is waited for.
    """
    places = checked_places(made.files, folder, diagnostics, made.manifest_file)
    plan = None if places is None else _planned(made, folder, diagnostics)
    if places is None or plan is None:
        return None
    changed = outdated(plan.files, folder)
    if changed and not dry_run:
        with holding(folder, diagnostics, step) as held:
            # Once more, for another build may have written meanwhile.
            plan = _planned(made, folder, diagnostics) if held else None
            if plan is None:
                return None
            changed = outdated(plan.files, folder)
            contents = {folder / path: plan.files[path] for path in plan.files if path in set(changed)}
            if not put(contents, folder, diagnostics, {place.parent for place in places.values()}):
                return None
            disturbed = outdated(plan.files, folder)
        if disturbed:
            files = ", ".join(f"`{path}`" for path in disturbed)
            diagnostics.add("outputs-disturbed", None, files=files, folder=folder.as_posix())
            return None
    elif not dry_run:
        tidy(folder, {place.parent for place in places.values()})
    _tell_strange(made, plan, folder, diagnostics)
    return Written(changed, tuple(path for path in sorted(plan.files) if path not in set(changed)))


def tell_outdated(made: OutputSet, folder: Path, spec: str, diagnostics: Diagnostics) -> int:
    """Adds an error for each file that is not what this build would write, and for each beside it of another build.

    Returns the number of files that the build has.
    """
    plan = _planned(made, folder, diagnostics)
    if plan is None:
        return 0
    for path in outdated(plan.files, folder):
        diagnostics.add("output-not-current", None, file=(folder / path).as_posix(), spec=spec)
    for entry in plan.strange:
        diagnostics.add("output-of-another-build", None, file=(folder / entry.file).as_posix(), build=entry.build)
    return len(plan.files)


class _Beside(NamedTuple):
    """What the folder's manifests say: this character's, and by folded path whose the files of the others are."""

    own: Manifest | None
    others: Mapping[str, str]


def _planned(made: OutputSet, folder: Path, diagnostics: Diagnostics) -> _Plan | None:
    """What to write beside what is there; None, with diagnostics, where that would harm what is there."""
    errors = diagnostics.count_of_errors
    beside = _beside(made, folder, diagnostics)
    for path in (*made.files, made.manifest_file):
        owner = beside.others.get(folded(path))
        if owner is not None:
            diagnostics.add("output-of-another-character", None, file=(folder / path).as_posix(), character=owner)
    if diagnostics.count_of_errors > errors:
        return None
    old = {} if beside.own is None else beside.own.entries
    own = {folded(path) for path in made.files}
    kept = [entry for entry in old.values() if folded(entry.file) not in own and (folder / entry.file).is_file()]
    manifest = manifest_of(_with_earlier_targets(made, old), kept)
    strange = tuple(entry for entry in kept if entry.build != made.build or not _is_whole(entry, folder))
    return _Plan({**made.files, made.manifest_file: manifest_bytes(manifest)}, strange)


def _with_earlier_targets(made: OutputSet, old: Mapping[str, ManifestEntry]) -> OutputSet:
    """A file that an earlier build of the same id wrote too stays a file of that build's targets."""
    targets = {
        path: (*made.targets.get(path, ()), *old[path].targets)
        if path in old and (old[path].build, old[path].sha256) == (made.build, digest(content))
        else made.targets.get(path, ())
        for path, content in made.files.items()
    }
    return OutputSet(made.character, made.build, made.files, targets, made.built)


def _is_whole(entry: ManifestEntry, folder: Path) -> bool:
    return digest_of_place(folder / entry.file) == entry.sha256


def _beside(made: OutputSet, folder: Path, diagnostics: Diagnostics) -> _Beside:
    own: Manifest | None = None
    others: dict[str, str] = {}
    for place in _manifests(folder):
        mine = folded(place.name) == folded(made.manifest_file)
        try:
            manifest = _read(place)
        except ManifestError as error:
            if mine:
                diagnostics.add("unreadable-manifest", None, file=place.as_posix(), problem=error)
            continue
        if mine and manifest.character == made.character:
            own = manifest
            continue
        listed = (place.name, *(path for path in manifest.entries if (folder / path).is_file()))
        others |= {folded(path): manifest.character for path in listed}
    return _Beside(own, others)


def _manifests(folder: Path) -> Iterator[Path]:
    try:
        yield from sorted(place for place in folder.iterdir() if place.name.casefold().endswith(ENDING))
    except (OSError, ValueError):
        return


def _read(place: Path) -> Manifest:
    try:
        manifest = read_manifest(regular_files.content(place, "text_bytes"))
    except regular_files.Unreadable as error:
        raise ManifestError(str(error)) from None
    for path in manifest.entries:
        problem = problem_of(path)
        if problem is not None:
            raise ManifestError(f"it names `{path}`, but {problem}")
    return manifest


def _tell_strange(made: OutputSet, plan: _Plan, folder: Path, diagnostics: Diagnostics) -> None:
    """Warnings about files of earlier builds: those of targets that were not built now, and those nobody writes now."""
    left = [entry for entry in plan.strange if set(entry.targets) <= set(made.built)]
    old = [entry for entry in plan.strange if entry not in left]
    if old:
        targets = sorted({target for entry in old for target in entry.targets} | set(made.built))
        hint = f"build all of them together: {' '.join(f'--target {target}' for target in targets)}"
        diagnostics.add("outputs-of-another-build", None, hint=hint, files=_listed(old), folder=folder.as_posix())
    if left:
        diagnostics.add("outputs-no-longer-written", None, files=_listed(left), folder=folder.as_posix())


def _listed(entries: list[ManifestEntry]) -> str:
    return ", ".join(f"`{entry.file}`" for entry in entries)
