"""The characters of what was given: a spec, a folder of specs, a built JSON file, or a revision of one of them.

A spec that does not compile is one of them too, with its mistakes. A library is none; one that does not compile is
told of by the specs that use it.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from os.path import normpath
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType
from typing import NamedTuple

from plica.diagnostics import Diagnostics, Severity
from plica.diff.broken_state import BrokenState, character_of
from plica.diff.built_offsets import with_stored_offsets, without_offsets_of
from plica.diff.character_state import CharacterState
from plica.diff.comparison import Version, Versions
from plica.diff.geometry import Locate
from plica.diff.git_commands import NoRevision
from plica.diff.revision import Revision, RevisionWorkspace, split_revision
from plica.diff.written import Writing
from plica.mesh.computed_cache import ComputedCache
from plica.pipeline import Compiled, compile_text
from plica.rig.files import files_of
from plica.rig.rig import Rig
from plica.workspace import Refused, Workspace

SPEC = ".plica"
ONE = ""  # the key of a single file


class Options(NamedTuple):
    """How to read: folders that specs may use too, and whether to measure on the mesh."""

    allowed: Sequence[Path] = ()
    measure: bool = True


def read_both(
    old: str,
    new: str,
    options: Options,
    diagnostics: Diagnostics,
    mirrors: ExitStack,
    own: tuple[Sequence[Path], Sequence[Path]] = ((), ()),
) -> tuple[Versions, Versions]:
    """The characters of both sides by relative path; a single file stands under the key `ONE`.

    A revision without a path takes that of the other side, and without one there the current folder. What keeps a side
    from being read at all is added to `diagnostics`. Files of revisions lie in folders that are there until `mirrors`
    is closed; they are called what they are called in the working tree. `own`: of each side further folders that its
    specs may use, of a revision where they lie in the working tree.
    """
    paths = [None if is_revision(given) else Path(given) for given in (old, new)]
    sides = []
    for given, other, allowed in ((old, paths[1], own[0]), (new, paths[0], own[1])):
        side = options._replace(allowed=(*options.allowed, *allowed))
        sides.append(_read(given, other, side, diagnostics, mirrors))
    for given, versions in zip((old, new), sides, strict=True):
        _report_nothing(given, versions, diagnostics)
    return with_equal_tables(*sides)


def read_side(
    given: str, other: Path | None, options: Options, diagnostics: Diagnostics, mirrors: ExitStack
) -> Versions:
    """The characters of one side, as `read_both` gives them; `other`: the path that a revision without one takes."""
    versions = _read(given, other, options, diagnostics, mirrors)
    _report_nothing(given, versions, diagnostics)
    return versions


def _read(given: str, other: Path | None, options: Options, diagnostics: Diagnostics, mirrors: ExitStack) -> Versions:
    if not is_revision(given):
        return _of_path(Path(given), given, options, diagnostics)
    mirror = Path(mirrors.enter_context(TemporaryDirectory(prefix="plica-")))
    return _of_revision(given, other, mirror, options, diagnostics)


def _report_nothing(given: str, versions: Versions, diagnostics: Diagnostics) -> None:
    if not versions and not diagnostics.has_errors:
        diagnostics.add("nothing-to-compare", None, given=given)


def is_revision(given: str) -> bool:
    """Whether what was given is a state of a git repository."""
    return given.startswith("git:")


def with_equal_tables(old: Versions, new: Versions) -> tuple[Versions, Versions]:
    """Where only one side has computed offsets or masks (a spec against what was built from it), neither counts; where
    one side has only the sums of a shape's offsets, the sums are compared.
    """
    both = []
    for versions, others in ((old, new), (new, old)):
        kept: dict[str, Version] = {}
        for key, version in versions.items():
            other = others.get(key)
            if isinstance(version, BrokenState) or isinstance(other, BrokenState):
                kept[key] = version
                continue
            rig = version.rig
            if other is not None and other.rig.offsets is None:
                rig = rig._replace(offsets=None)
            elif other is not None:
                rig = without_offsets_of(rig, other.rig)
            if other is not None and not any(fold.mask for fold in other.rig.folds):
                rig = rig._replace(folds=tuple(fold._replace(mask=None, directions=None) for fold in rig.folds))
            kept[key] = version._replace(rig=rig)
        both.append(kept)
    return both[0], both[1]


# ---- files ------------------------------------------------------------------------------------------------


def _of_path(path: Path, given: str, options: Options, diagnostics: Diagnostics) -> Versions:
    if is_folder(path):
        versions: dict[str, Version] = {}
        for spec in _specs_below(path):
            version = _of_spec(spec, spec.as_posix(), Workspace(spec.parent, options.allowed), options)
            if version is not None:
                versions[spec.relative_to(path).as_posix()] = version
        return _without_libraries(versions)
    workspace = Workspace(path.parent, options.allowed)
    if path.suffix.lower() == ".json":
        built = _of_json(path, given, workspace, diagnostics)
        return {} if built is None else {ONE: built}
    text = workspace.read_text(path, path.as_posix())
    if isinstance(text, Refused):
        diagnostics.add_filled(text.name, None, text.values)
        return {}
    version = version_of_text(text, path.as_posix(), workspace, options)
    return {} if version is None else {ONE: version}


def _without_libraries(versions: Mapping[str, Version]) -> Versions:
    """The states without those of mere libraries that do not compile where a spec that uses one tells of it."""
    used = {
        normpath(document.source.path)
        for state in versions.values()
        for document in (state.documents if isinstance(state, BrokenState) else state.writing.documents)[1:]
    }
    return {
        key: state
        for key, state in versions.items()
        if not isinstance(state, BrokenState)
        or character_of(state.documents) is not None
        or normpath(state.path) not in used
    }


def is_folder(path: Path) -> bool:
    """Whether there is a folder of this name."""
    try:
        return path.is_dir()
    except ValueError:
        return False


def _specs_below(folder: Path) -> list[Path]:
    """Every spec below a folder, sorted; hidden folders are left out."""
    specs: list[Path] = []
    for place, folders, files in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        specs += [Path(place) / name for name in sorted(files) if name.endswith(SPEC)]
    return specs


def _of_json(path: Path, shown: str, workspace: Workspace, diagnostics: Diagnostics) -> CharacterState | None:
    from plica.mesh.npz import ArchiveError
    from plica.rig.rig_json import RigFormatError, read_rig

    text = workspace.read_text(path, shown, "text_bytes")
    if isinstance(text, Refused):
        diagnostics.add_filled(text.name, None, text.values)
        return None
    try:
        rig = read_rig(text)
    except RigFormatError as error:
        diagnostics.add("unreadable-rig", None, file=shown, problem=str(error))
        return None
    try:
        filled = with_stored_offsets(rig, workspace)
    except ArchiveError as error:
        file = "" if rig.offsets is None else rig.offsets.file
        diagnostics.add("unreadable-offsets", None, file=file, rig=shown, problem=str(error))
        return None
    return CharacterState(shown, filled.rig, missing=filled.missing)


def _of_spec(path: Path, shown: str, workspace: Workspace, options: Options) -> Version | None:
    """A spec's state; None for a library."""
    text = workspace.read_text(path, shown)
    if isinstance(text, Refused):
        diagnostics = Diagnostics()
        diagnostics.add_filled(text.name, None, text.values)
        return BrokenState(shown, shown, diagnostics.all)
    return version_of_text(text, shown, workspace, options)


def version_of_text(text: str, shown: str, workspace: Workspace, options: Options) -> Version | None:
    """A compiled text, its files read through the workspace, or its mistakes; None for a library.

    Warnings are `plica check`'s to tell; here they would stand twice, for the old and the new text.
    """
    compiled = compile_text(text, shown, workspace)
    if compiled.is_library:
        return None
    if compiled.rig is None:
        errors = tuple(one for one in compiled.diagnostics if one.severity == Severity.ERROR)
        return BrokenState(shown, character_of(compiled.documents) or shown, errors, compiled.documents)
    locate = workspace.locate if options.measure else None
    return state_of(compiled, shown, contents_of(compiled.rig, workspace), locate)


def state_of(
    compiled: Compiled,
    shown: str,
    contents: Mapping[str, str] = MappingProxyType({}),
    locate: Locate | None = None,
) -> CharacterState:
    """The state of a spec that compiles. Raises ValueError for one that does not."""
    if compiled.rig is None:
        raise ValueError("a spec that does not compile is no state of a character")
    origins = dict(compiled.origins)
    if compiled.spec is not None:
        origins[("character", compiled.rig.character.name)] = compiled.spec.character.span
    written = () if compiled.bound is None else compiled.bound.written
    writing = Writing(compiled.documents, written)
    return CharacterState(shown, compiled.rig, origins, contents, locate, writing=writing, weights=compiled.weights)


def contents_of(rig: Rig, workspace: Workspace) -> dict[str, str]:
    """A digest of every file that a rig names and that is there, and of the files that a model is made of."""
    memory = ComputedCache()
    digests: dict[str, str] = {}
    for file in dict.fromkeys(file for file, *_ in files_of(rig)):
        located = workspace.locate(file)
        if not isinstance(located, Refused) and (digest := memory.digest(located)):
            digests[file] = digest
    return digests


# ---- revisions -----------------------------------------------------------------------------------------------


def _of_revision(given: str, other: Path | None, mirror: Path, options: Options, diagnostics: Diagnostics) -> Versions:
    try:
        return _of_tree(*opened_revision(given, other, mirror), options, diagnostics)
    except NoRevision as problem:
        diagnostics.add("unreadable-revision", None, given=given, problem=problem)
        return {}


def opened_revision(given: str, other: Path | None, mirror: Path) -> tuple[Revision, str]:
    """A revision and the path in it; `other`: the path of the other side, where that has one. Raises NoRevision."""
    name, inside = split_revision(given)
    beside = Path() if inside is not None or other is None else other
    revision = Revision(beside if is_folder(beside) else beside.parent, name, mirror)
    return revision, _path_in(revision, inside, beside)


def _path_in(revision: Revision, inside: str | None, beside: Path) -> str:
    """The path from the top of the repository; as with git, one that begins with `./` is from the current folder."""
    if inside is not None and not inside.startswith(("./", "../")) and inside not in (".", ".."):
        return normpath(inside).replace(os.sep, "/")
    place = Path(normpath(Path.cwd() / inside)) if inside is not None else beside.resolve()
    try:
        return place.resolve().relative_to(revision.top).as_posix()
    except ValueError:
        raise NoRevision(f"`{place.as_posix()}` is not in the repository") from None


def _of_tree(revision: Revision, path: str, options: Options, diagnostics: Diagnostics) -> Versions:
    for name, problem in revision.unusable_below(path).items():
        if name.lower().endswith(SPEC):
            raise NoRevision(f"its `{name}` cannot be put down as a file: {problem}")
    single = revision.holds(path)
    specs = [path] if single else [one for one in revision.files_below(path) if one.endswith(SPEC)]
    if not single and not revision.files_below(path):
        raise NoRevision(f"it has no `{path}`")
    versions: dict[str, Version] = {}
    for spec in specs:
        place = revision.fetch(spec)
        if place is None:
            raise NoRevision(f"its `{spec}` cannot be read")
        workspace = RevisionWorkspace(revision, Path(spec).parent.as_posix(), options.allowed)
        shown = called_here(revision, spec)
        if spec.lower().endswith(".json"):
            version: Version | None = _of_json(place, shown, workspace, diagnostics)
        else:
            version = _of_spec(place, shown, workspace, options)
        if version is not None:
            key = ONE if single else spec if path == "." else spec.removeprefix(f"{path}/")
            versions[key] = version
    return versions if single else _without_libraries(versions)


def called_here(revision: Revision, path: str) -> str:
    """What a file of a revision is called in the working tree, from the current folder."""
    try:
        return Path(os.path.relpath(revision.top / path)).as_posix()
    except ValueError:  # on another drive
        return path
