"""A character's files: built in memory, written as one set, compared with what is on disk."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from plica.api.character import Character, FilePath, counted_errors, rig_of, usable_rig
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.diagnostics.place import counted
from plica.emit.artifacts import DEFAULT_TARGETS, Request, build_targets
from plica.emit.output_set import OutputSet
from plica.emit.prepare import prepare
from plica.emit.publish import publish, tell_outdated
from plica.errors import NothingBuiltError
from plica.pipeline import Compiled
from plica.rig.rig import unbuilt

if TYPE_CHECKING:
    from plica.mesh.attach import Attached


USUAL_TARGETS: Final = DEFAULT_TARGETS
"""What is built where no target is named."""


@dataclass(frozen=True, eq=False, repr=False)
class BuiltFiles:
    """What a build gave.

    output: the files as a set with the build's id; None where there were errors, which then stand among the
    diagnostics. attached: the mesh and what was computed on it; None where nothing had to be.
    """

    character: Character
    output: OutputSet | None
    diagnostics: tuple[Diagnostic, ...]
    attached: Attached | None = None

    @property
    def ok(self) -> bool:
        """Whether everything was built."""
        return self.output is not None

    @property
    def files(self) -> Mapping[str, bytes]:
        """The files by path relative to the folder that they are meant for, sorted; empty where there were errors.

        The manifest, which depends on what stands in that folder already, is made when they are written.
        """
        return {} if self.output is None else self.output.files

    @property
    def build(self) -> str:
        """The id of the build, the same for the same input; "" where there were errors."""
        return "" if self.output is None else self.output.build

    @property
    def shape_sizes(self) -> tuple[str, ...]:
        """A line for each shape that was computed: what it weighs."""
        from plica.emit.offsets_table import weights_of_shapes

        return () if self.attached is None else tuple(weights_of_shapes(self.attached))

    def __repr__(self) -> str:
        if self.output is None:
            return f"<BuiltFiles of {self.character.file!r}: {counted_errors(self.diagnostics)}>"
        size = sum(map(len, self.files.values()))
        counts = f"{counted(len(self.files), 'file')}, {size} bytes"
        return f"<BuiltFiles of {self.character.name!r}: {counts}, build {self.build}>"

    def _repr_html_(self) -> str:
        from plica.api.notebook import diagnostics_html, table_html

        rows = [(path, f"{len(content)}") for path, content in self.files.items()]
        return (table_html(("file", "bytes"), rows) if rows else "") + diagnostics_html(self.diagnostics)


@dataclass(frozen=True, repr=False)
class WrittenFiles:
    """What was written, or, dry, would be: paths relative to the folder; `unchanged` files already had these bytes.

    diagnostics: why nothing was written (then both are empty), and files of other builds that are in the folder.
    """

    folder: Path
    written: tuple[str, ...]
    unchanged: tuple[str, ...]
    diagnostics: tuple[Diagnostic, ...]

    @property
    def files(self) -> tuple[str, ...]:
        """All files of the build, the manifest among them, sorted."""
        return tuple(sorted((*self.written, *self.unchanged)))

    @property
    def ok(self) -> bool:
        """Whether the folder now holds the whole build."""
        return not any(one.severity is Severity.ERROR for one in self.diagnostics)

    def __repr__(self) -> str:
        counts = f"{len(self.written)} written, {len(self.unchanged)} unchanged, {counted_errors(self.diagnostics)}"
        return f"<WrittenFiles in {self.folder.as_posix()!r}: {counts}>"


@dataclass(frozen=True, repr=False)
class FolderState:
    """Whether a folder holds what a build would write: `count` files, and a diagnostic for each that differs."""

    folder: Path
    count: int
    diagnostics: tuple[Diagnostic, ...]

    @property
    def is_current(self) -> bool:
        """Whether every file is there with these bytes, and none of another build beside them."""
        return not any(one.severity is Severity.ERROR for one in self.diagnostics)

    def __repr__(self) -> str:
        state = "current" if self.is_current else counted_errors(self.diagnostics)
        return f"<FolderState of {self.folder.as_posix()!r}: {counted(self.count, 'file')}, {state}>"


def build_files(
    character: Character,
    targets: Iterable[str] = USUAL_TARGETS,
    *,
    options: Mapping[str, Mapping[str, str | Sequence[str]]] | None = None,
    normals: bool = False,
    allow_inexpressible: bool = False,
    progress: Callable[[str], None] = lambda step: None,
) -> BuiltFiles:
    """Build a character's files in memory; nothing is written.

    targets: the names of output forms (`json`, `python`, `masks`, `materialx`, `template`, and those of other
    packages). options: of targets, by target and name, as they are written on the command line. normals: also compute
    how shapes change normals. allow_inexpressible: what a target cannot express is a warning and no error. progress:
    called with what is done next.

    Errors of the spec, its files and the options are diagnostics of the result, and also which targets there are not;
    nothing is raised.
    """
    names = (targets,) if isinstance(targets, str) else tuple(dict.fromkeys(targets))
    diagnostics = Diagnostics()
    if usable_rig(character, diagnostics, warnings=True) is None:
        return BuiltFiles(character, None, diagnostics.all)
    prepared = prepare(_compiled(character), character.folder, character.allow, diagnostics, progress, normals)
    if prepared is None:
        return BuiltFiles(character, None, diagnostics.all)
    requests = [Request(name, _texts((options or {}).get(name, {}))) for name in names]
    made = build_targets(prepared, requests, diagnostics, allow_inexpressible, step=progress)
    output = None if diagnostics.has_errors else made
    return BuiltFiles(character, output, diagnostics.all, prepared.attached)


def write_files(
    built: BuiltFiles, folder: FilePath, *, dry_run: bool = False, progress: Callable[[str], None] = lambda step: None
) -> WrittenFiles:
    """Write a build into a folder, with its manifest: all files or none, never outside the folder.

    dry_run: only tell what would be written. progress: called where another build is waited for. What stands in the way
    is a diagnostic of the result. Raises NothingBuiltError for a build that had errors.
    """
    place, diagnostics = Path(folder), Diagnostics()
    done = publish(_output(built), place, diagnostics, dry_run=dry_run, step=progress)
    if done is None:
        return WrittenFiles(place, (), (), diagnostics.all)
    return WrittenFiles(place, done.written, done.unchanged, diagnostics.all)


def compare_folder(built: BuiltFiles, folder: FilePath) -> FolderState:
    """Whether a folder holds exactly what a build would write into it. Raises NothingBuiltError as above."""
    place, diagnostics = Path(folder), Diagnostics()
    count = tell_outdated(_output(built), place, built.character.file, diagnostics)
    return FolderState(place, count, diagnostics.all)


def _compiled(character: Character) -> Compiled:
    """What compiling gave; of a rig that was read back the same, without what a build had added to it."""
    if character.compiled is not None:
        return character.compiled
    rig = rig_of(character)
    folds = tuple(fold._replace(mask=None) for fold in rig.folds)
    return Compiled((), (), None, unbuilt(rig)._replace(offsets=None, folds=folds), character.origins)


def _output(built: BuiltFiles) -> OutputSet:
    if built.output is None:
        first = next((one.message for one in built.diagnostics if one.severity is Severity.ERROR), "")
        raise NothingBuiltError(f"nothing was built from {built.character.file}: {first}; see its diagnostics")
    return built.output


def _texts(options: Mapping[str, str | Sequence[str]]) -> dict[str, list[str]]:
    return {name: [value] if isinstance(value, str) else list(value) for name, value in options.items()}
