"""The project that a folder belongs to. Its own module, because most commands ask for it and there mostly is none."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from plica.api.character import FilePath
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.frozen import Frozen
from plica.project.root import project_root

if TYPE_CHECKING:
    from plica.project.members import Members
    from plica.project.settings import Project


class FoundProject(Frozen):
    """The project that a folder belongs to. project: None where its `plica.toml` has mistakes, or there is none.

    root: the folder of the `plica.toml`, None where there is none.
    """

    root: Path | None
    project: Project | None
    diagnostics: tuple[Diagnostic, ...]

    def __init__(self, root: Path | None, project: Project | None, diagnostics: tuple[Diagnostic, ...] = ()) -> None:
        super().__init__(root=root, project=project, diagnostics=diagnostics)

    @property
    def allow(self) -> tuple[Path, ...]:
        """The folders that every spec of the project may use files of."""
        return () if self.project is None else self.project.folders

    @property
    def ok(self) -> bool:
        """Whether there is no mistake in a `plica.toml`; also where there is none."""
        return not any(one.severity is Severity.ERROR for one in self.diagnostics)

    def accepted(self, diagnostics: Iterable[Diagnostic], spec: str) -> tuple[Diagnostic, ...]:
        """The diagnostics of one spec without the warnings and notes that the project accepts."""
        if self.project is None:
            return tuple(diagnostics)
        from plica.project.accepted import Acceptances

        return Acceptances(self.project).kept(diagnostics, spec)

    def shown(self, path: Path) -> str:
        """What a file of the project is called in messages: its path from the working folder."""
        from plica.project.members import shown

        return shown(path)

    def members(self, needs_clips: bool = False) -> tuple[Members | None, tuple[Diagnostic, ...]]:
        """The files of the project; None where they could not be found, as the diagnostics say.

        needs_clips: whether a pattern of clips that matches none is an error.
        """
        if self.project is None:
            return None, ()
        from plica.project.members import members

        diagnostics = Diagnostics()
        return members(self.project, diagnostics, needs_clips), diagnostics.all

    def __repr__(self) -> str:
        return f"<FoundProject in {self.root.as_posix() if self.root else None!r}>"


def find_project(folder: FilePath = ".") -> FoundProject:
    """The project that a folder belongs to: that of the nearest `plica.toml` in it or above.

    The top of a git repository is the last folder that is looked at. Mistakes are diagnostics; nothing is raised.
    """
    root = project_root(Path(folder))
    if root is None:
        return FoundProject(None, None)
    from plica.project.members import shown_file
    from plica.project.reading import read_project

    diagnostics = Diagnostics()
    project = read_project(root, shown_file(root), diagnostics)
    return FoundProject(root, project, diagnostics.all)
