"""What the `plica.toml` of each of two states says: of a folder, or of a folder in a git revision."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import ExitStack, suppress
from functools import cached_property
from os.path import normpath
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.diff.character_states import called_here, is_folder, is_revision, opened_revision
from plica.diff.git_commands import NoRevision
from plica.diff.revision import Revision
from plica.plain_data import UnreadableDataError, toml_of
from plica.project.places import Places, Way
from plica.project.reading import project_of
from plica.project.root import FILE
from plica.project.settings import SETTINGS, Project
from plica.source import Source, Span
from plica.workspace import Refused, Workspace

_DEFAULTS: Final = {setting.name: setting.default for setting in SETTINGS}


class ProjectState:
    """A `plica.toml` in one state.

    `base`: the project's folder, of a revision where it lies in the working tree; `errors`: the mistakes; `project`:
    None where there are any.
    """

    def __init__(self, source: Source, base: Path, project: Project | None, errors: tuple[Diagnostic, ...]) -> None:
        self.source, self.base, self.project, self.errors = source, base, project, errors

    @cached_property
    def held(self) -> Mapping[str, Any]:
        """The settings as they are written; none where the text cannot be read."""
        try:
            return toml_of(self.source.text.replace("\r\n", "\n"))
        except UnreadableDataError:
            return {}

    @cached_property
    def _places(self) -> Places:
        return Places(self.source)

    def value(self, name: str) -> Any:
        """A setting, or what holds without it."""
        return self.held.get(name, _DEFAULTS[name])

    def place(self, way: Way) -> Span | None:
        """Where a value is written; None for one that is not."""
        return self._places.of_value(way) if way[0] in self.held else None

    def key_place(self, way: Way) -> Span | None:
        """Where a key is written."""
        return self._places.of_key(way)


ProjectStates = tuple[ProjectState | None, ProjectState | None]


def project_states(old: str, new: str, mirrors: ExitStack) -> ProjectStates:
    """The `plica.toml` that lies in the folder of each side; None where a side is no folder or has no such file.

    A side that cannot be read at all has none here: reading its characters reports why.
    """
    paths = [None if is_revision(given) else Path(given) for given in (old, new)]
    found: list[ProjectState | None] = []
    for given, other in ((old, paths[1]), (new, paths[0])):
        if not is_revision(given):
            found.append(_of_folder(Path(given)))
            continue
        try:
            mirror = Path(mirrors.enter_context(TemporaryDirectory(prefix="plica-")))
            found.append(_of_revision(*opened_revision(given, other, mirror)))
        except NoRevision:
            found.append(None)
    return found[0], found[1]


def folders_of(state: ProjectState | None, other: ProjectState | None) -> Iterator[Path]:
    """The folders that every spec of a state may use files of; those of the other state where this one has mistakes."""
    said = other if state is not None and state.errors else state
    if state is None or said is None or said.project is None:
        return
    base = state.base.resolve()
    for text in said.value("folders"):
        folder = (base / text).resolve()
        if folder.is_relative_to(base):
            yield folder


def _of_folder(folder: Path) -> ProjectState | None:
    place = folder / FILE
    if not is_folder(folder) or not (place.is_symlink() or place.exists()):
        return None
    return _state(folder, folder, place.as_posix())


def _of_revision(revision: Revision, path: str) -> ProjectState | None:
    file = normpath(f"{path}/{FILE}")
    if revision.holds(path) or revision.fetch(file) is None:
        return None
    root = revision.mirror / path
    for text in _paths_named(root / FILE):
        _put_down(revision, normpath(f"{path}/{text}"))
    return _state(root, revision.top / path, called_here(revision, file))


def _paths_named(file: Path) -> Iterator[str]:
    """The folders and the file that have to be there for a project to have no mistake."""
    text = Workspace(file.parent).read_text(file, FILE, "project_bytes")
    if isinstance(text, Refused):
        return
    state = ProjectState(Source(FILE, text), file.parent, None, ())
    for name in ("folders", "accepted-changes"):
        value = state.value(name)
        yield from (one for one in (value if isinstance(value, list | tuple) else [value]) if isinstance(one, str))


def _put_down(revision: Revision, path: str) -> None:
    """A file of a revision, or a folder that it has, without what lies in it."""
    if "\0" in path or (revision.holds(path) and revision.fetch(path) is not None):
        return
    if revision.holds(path) or (path != "." and revision.files_below(path)):  # what is no file is a link to a folder
        with suppress(OSError):  # what cannot be put down is reported as missing
            (revision.mirror / path).mkdir(parents=True, exist_ok=True)


def _state(root: Path, base: Path, shown: str) -> ProjectState:
    diagnostics = Diagnostics()
    text = Workspace(root).read_text(root / FILE, shown, "project_bytes")
    if isinstance(text, Refused):
        diagnostics.add_filled(text.name, None, text.values)
        return ProjectState(Source(shown, ""), base, None, diagnostics.all)
    project = project_of(text, root, shown, diagnostics)
    errors = tuple(one for one in diagnostics.all if one.severity is Severity.ERROR)
    return ProjectState(Source(shown, text), base, project, errors)
