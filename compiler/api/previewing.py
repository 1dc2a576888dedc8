"""A character's sheet in browsers on this machine, which follows the spec and everything that it is made of."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter
from types import TracebackType
from typing import Final, Self

from plica.api.character import (
    Character,
    FilePath,
    character_of,
    counted_errors,
    file_names,
    folders,
)
from plica.api.found_project import FoundProject, find_project
from plica.api.sheeting import sheet_subject, stills_of
from plica.api.subject import subject_of
from plica.diagnostics import Diagnostic, Diagnostics
from plica.emit.followed_files import FollowedFiles, NotingWorkspace
from plica.errors import PortTakenError
from plica.mesh.computed_cache import ComputedCache
from plica.pipeline import compile_document
from plica.preview.findings import ShownSpec
from plica.preview.server import Board, PreviewServer
from plica.preview.state import ShownSheet, preview_state, shown_sheet
from plica.project.root import FILE as PROJECT_FILE
from plica.prove.kept_masks import KeptMasks
from plica.prove.proof import Proof
from plica.prove.results import not_measured
from plica.prove.subject import ExtraClips
from plica.sheet.kept import Kept
from plica.sheet.sheet import Sheet, block_ids, sheet_of
from plica.sheet.spec_lines import SpecLines
from plica.source import Source
from plica.syntax.incremental import IncrementalParser
from plica.workspace import Refused

NOT_MEASURED: Final = "a preview measures nothing; `plica prove` does"


@dataclass(frozen=True, eq=False, repr=False)
class PreviewUpdate:
    """One state of the files that a preview went over to.

    changed: the files whose change led to it, none for the first; watched: the files that it depends on; ok: whether
    there was no error, so that the page shows it; seconds: how long it took.
    """

    character: Character
    changed: tuple[Path, ...]
    watched: tuple[Path, ...]
    ok: bool
    diagnostics: tuple[Diagnostic, ...]
    seconds: float

    def __repr__(self) -> str:
        what = "shown" if self.ok else counted_errors(self.diagnostics)
        return f"<PreviewUpdate of {self.character.file!r}: {what}, {self.seconds:.2f} s>"


class Preview:
    """A page that is served while this is open. Iterating shows the present state, and each that follows, without end.

    address: what to open in a browser. Only pages on this machine that know it are answered.
    """

    def __init__(self, spec: Path, clips: Sequence[str], allowed: tuple[Path, ...], port: int) -> None:
        """Raises PortTakenError."""
        self._spec, self._clips, self._allowed = spec, tuple(clips), allowed
        self._parser = IncrementalParser()
        self._memory, self._kept, self._masks = ComputedCache(), Kept(), KeptMasks()
        self._followed = FollowedFiles(spec, self._memory)
        self._board = Board()
        try:
            self._server = PreviewServer(self._board, port)
        except OSError as error:
            raise PortTakenError(f"port {port} cannot be served at ({error.strerror}); leave it out for any") from error
        self._number = 0
        self._shown: ShownSheet | None = None

    @property
    def address(self) -> str:
        """The page's address."""
        return self._server.address

    def __iter__(self) -> Iterator[PreviewUpdate]:
        changed: tuple[Path, ...] = ()
        while True:
            yield self.update(changed)
            changed = self.wait()

    def update(
        self, changed: tuple[Path, ...] = (), progress: Callable[[str], None] = lambda step: None
    ) -> PreviewUpdate:
        """Show the files as they are now; after mistakes the last state without any stays, and they stand on the page.

        changed: what led to it; progress: called with what is done next.
        """
        begun = perf_counter()
        diagnostics = Diagnostics()
        around = find_project(self._spec.parent)
        diagnostics.extend(around.diagnostics)
        clips = self._clips or _clips_of(around, diagnostics)
        self._followed.also = (_project_file(around, self._spec), *(Path(file) for file in clips))
        allowed = (*self._allowed, *around.allow)
        with self._followed.run(allowed) as workspace:
            character = self._compiled(workspace, allowed, diagnostics)
            sheet = self._sheet(character, workspace, clips, diagnostics, progress)
        found = around.accepted(diagnostics.all, self._spec.as_posix())
        self._put(character, sheet, found)
        seconds = perf_counter() - begun
        return PreviewUpdate(character, changed, tuple(self._followed.files), sheet is not None, found, seconds)

    def wait(self) -> tuple[Path, ...]:
        """Return once something has changed and nothing is being written any more; gives what has changed."""
        return self._followed.wait()

    def close(self) -> None:
        """End the page."""
        self._server.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"<Preview of {self._spec.as_posix()!r} on port {self._server.port}>"

    def _compiled(self, workspace: NotingWorkspace, allowed: tuple[Path, ...], diagnostics: Diagnostics) -> Character:
        text = workspace.read_text(self._spec, self._spec.name)
        if isinstance(text, Refused):
            diagnostics.add_filled(text.name, None, text.values)
            return Character(None, diagnostics.all, self._spec.as_posix(), self._spec.parent, allowed)
        own = Diagnostics()
        document = self._parser.parse(Source(self._spec.as_posix(), text), own)
        compiled = compile_document(document, workspace, own)
        return character_of(compiled, self._spec.as_posix(), self._spec.parent, allowed)

    def _sheet(
        self,
        character: Character,
        workspace: NotingWorkspace,
        clips: Sequence[str],
        diagnostics: Diagnostics,
        progress: Callable[[str], None],
    ) -> Sheet | None:
        """The sheet; None, after diagnostics, where there are errors."""
        motion = ExtraClips(clips)
        subject = subject_of(
            character, workspace, motion, diagnostics, progress, self._memory, self._masks, warnings=True
        )
        if subject is None:
            return None
        rig = subject.rig
        results = [not_measured(index, one, NOT_MEASURED) for index, one in enumerate(rig.expectations)]
        mesh = None if subject.attached is None else subject.attached.mesh

        def version(file: str) -> str:
            path = workspace.locate(file)
            return "" if isinstance(path, Refused) else self._memory.digest(path)

        maps = [(file, version(file)) for one in rig.details for file in (one.relaxed, one.contracted)]
        stills = self._kept.recall("stills", (mesh, maps), lambda: stills_of(character, subject.attached))
        made = sheet_of(
            sheet_subject(subject, Proof(subject), results, character.origins, workspace, diagnostics, stills, version),
            self._kept,
            progress,
        )
        return None if diagnostics.has_errors else made

    def _put(self, character: Character, sheet: Sheet | None, found: tuple[Diagnostic, ...]) -> None:
        """Make this the state that pages are told of."""
        self._number += 1
        if sheet is not None and character.rig is not None:
            spec = ShownSpec(SpecLines(character.origins), character.origins, block_ids(character.rig))
            self._shown = shown_sheet(self._number, sheet, spec, self.address)
        self._board.put(preview_state(self._number, self._shown, found, self.address))


def _project_file(around: FoundProject, spec: Path) -> Path:
    """The project's own file; the place of one beside the spec where there is none."""
    return (around.root or spec.parent) / PROJECT_FILE


def _clips_of(around: FoundProject, diagnostics: Diagnostics) -> tuple[str, ...]:
    """The clips of a project."""
    if around.project is None or not around.project.clips:
        return ()
    members, told = around.members()
    diagnostics.extend(told)
    return () if members is None else tuple(clip.as_posix() for clip in members.clips)


def preview_spec(
    spec: FilePath, *, clips: Iterable[FilePath] = (), allow: Iterable[FilePath] = (), port: int = 0
) -> Preview:
    """Serve a character's sheet to browsers on this machine, following its files; nothing is written.

    `with plica.preview_spec("wren.plica") as preview:` serves at `preview.address`, and `for update in preview` shows
    the files as they are and goes on until it is left. What the project of the spec (`plica.toml`) allows and accepts
    counts, and its clips are there to play. clips: others instead. allow: folders besides the spec's own that files
    may lie in. port: 0 for any that is free.

    Mistakes are diagnostics of each update. Raises PortTakenError.
    """
    files = file_names(clips)
    return Preview(Path(spec), files, folders(allow), port)
