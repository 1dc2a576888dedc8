"""Texts that are open in an editor, compiled as they stand there, whether they are saved or not."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from pathlib import Path

from plica.api.found_project import FoundProject, find_project
from plica.diagnostics import Diagnostics, Severity
from plica.editor.positions import Lines
from plica.pipeline import Compiled, compile_document
from plica.rig.rig import Rig
from plica.source import Source
from plica.spec.bind import Bound, bind
from plica.spec.symbols import Symbols
from plica.syntax.incremental import IncrementalParser
from plica.syntax.nodes import Document
from plica.workspace import Refused, Workspace

MOST_NEIGHBOURS = 64  # specs beside a library, or in its project, that are looked at to find those that use it


class OpenTexts(Workspace):
    """A spec's folder, in which open texts stand in for what is saved; `texts` by resolved path."""

    def __init__(self, root: Path, allowed: Sequence[Path], texts: Mapping[Path, str]) -> None:
        super().__init__(root, allowed)
        self._texts = texts

    def read_text(self, path: Path, name: str, limit: str = "spec_bytes") -> str | Refused:
        """The open text, else the saved one."""
        text = self._texts.get(path)
        return text if text is not None else super().read_text(path, name, limit)


class Analysis:
    """What compiling one version of a text gave. Everything beyond the diagnostics is worked out when asked for."""

    def __init__(
        self,
        document: Document,
        compiled: Compiled,
        workspace: Workspace | None,
        earlier: Rig | None,
        project: FoundProject | None = None,
    ) -> None:
        """`earlier`: the rig of the latest version without errors; `project`: what accepts some of the findings."""
        self.document = document
        found = compiled.diagnostics
        self.diagnostics = found if project is None else project.accepted(found, document.source.path)
        self.is_library = compiled.is_library
        self.rig = compiled.rig or earlier
        self._compiled = compiled
        self._workspace = workspace

    @property
    def source(self) -> Source:
        """The text."""
        return self.document.source

    @property
    def has_errors(self) -> bool:
        """Whether an error was found."""
        return any(item.severity is Severity.ERROR for item in self.diagnostics)

    @cached_property
    def lines(self) -> Lines:
        """The lines of the text."""
        return Lines(self.source.text)

    @cached_property
    def bound(self) -> Bound:
        """What could be bound, also of a text with mistakes; these are told elsewhere."""
        if self._compiled.bound is not None:
            return self._compiled.bound
        root = self._workspace.root if self._workspace else None
        return bind(self.document, root, self._workspace, Diagnostics())

    @property
    def folder(self) -> Path | None:
        """The folder from which the text names files; None for a text that has no file yet."""
        return self._workspace.root if self._workspace else None

    @property
    def symbols(self) -> Symbols:
        """The names of the spec and its libraries; none where there is no character."""
        return self.bound.symbols or Symbols(Diagnostics())

    @property
    def documents(self) -> tuple[Document, ...]:
        """The text and the libraries that it uses."""
        return self.bound.documents


class _Open:
    """An open text: its version, its parser, and what the latest version without errors gave."""

    def __init__(self, path: Path | None, shown: str) -> None:
        self.path = path
        self.shown = shown
        self.text = ""
        self.parser = IncrementalParser()
        self.rig: Rig | None = None
        self.analysis: Analysis | None = None


class OpenDocuments:
    """All open texts, by whatever key the editor knows them by. Nothing here writes or prints."""

    def __init__(self, allowed: Sequence[Path] = ()) -> None:
        self.allowed = tuple(allowed)
        self._open: dict[str, _Open] = {}
        self._projects: dict[Path, FoundProject] = {}

    def set_text(self, key: str, text: str, path: Path | None) -> None:
        """Open a text, or replace it; `path` is None for one that has no file yet."""
        if key not in self._open:
            resolved = path.resolve() if path is not None else None
            self._open[key] = _Open(resolved, resolved.as_posix() if resolved is not None else key)
        self._open[key].text = text
        for other in self._open.values():
            # What a library says shows in the specs that use it.
            if other.analysis is not None and (other is self._open[key] or self._uses(other.analysis, key)):
                other.analysis = None

    def text(self, key: str) -> str | None:
        """An open text."""
        return self._open[key].text if key in self._open else None

    def close(self, key: str) -> None:
        """Forget an open text: what is saved counts again."""
        self._open.pop(key, None)
        for other in self._open.values():
            other.analysis = None

    def forget_analyses(self) -> None:
        """Files on disk changed: look at everything anew."""
        self._projects = {}
        for item in self._open.values():
            item.analysis = None

    @property
    def keys(self) -> tuple[str, ...]:
        """The open texts."""
        return tuple(self._open)

    @property
    def addresses(self) -> dict[str, str]:
        """The keys of the open texts by the paths of their sources."""
        return {item.shown: key for key, item in self._open.items()}

    def analysis(self, key: str) -> Analysis | None:
        """What compiling the open text gives; compiled at most once for each version."""
        item = self._open.get(key)
        if item is None:
            return None
        if item.analysis is None:
            item.analysis = self._analysed(item)
            item.rig = item.analysis.rig
        return item.analysis

    def stale(self) -> list[str]:
        """The open texts that have to be compiled again."""
        return [key for key, item in self._open.items() if item.analysis is None]

    def around(self, key: str) -> Analysis | None:
        """The analysis that knows what the names of an open text mean: for a library, that of a spec that uses it."""
        own = self.analysis(key)
        return own if own is None or not own.is_library else next(self._users(own, key), own)

    def users(self, key: str) -> list[Analysis]:
        """The analysis of an open text; for a library those of the specs that use it, open ones or in folders near."""
        own = self.analysis(key)
        if own is None:
            return []
        return [own] if not own.is_library else list(self._users(own, key)) or [own]

    def _users(self, own: Analysis, key: str) -> Iterator[Analysis]:
        path = own.source.path
        for other in (*self._analyses(key), *self._neighbours(self._open[key])):
            if any(document.source.path == path for document in other.documents):
                yield other

    def _analyses(self, key: str) -> Iterator[Analysis]:
        for other in self.keys:
            analysis = self.analysis(other) if other != key else None
            if analysis is not None:
                yield analysis

    def _neighbours(self, item: _Open) -> Iterator[Analysis]:
        """Specs on disk that may use a library: those of its project, and in its folder and the one above."""
        if item.path is None:
            return
        known = {other.path for other in self._open.values()}
        members, _ = self._project(item.path.parent).members()
        result = [] if members is None else list(members.characters)
        result += [
            path for folder in item.path.parents[:2] for path in sorted(folder.glob("*.plica"))[:MOST_NEIGHBOURS]
        ]
        left = MOST_NEIGHBOURS
        for path in dict.fromkeys(result):
            if left == 0:
                return
            text = Workspace(path.parent).read_text(path, path.name)
            if path in known or isinstance(text, Refused) or item.path.name not in text:
                continue
            left -= 1
            neighbour = _Open(path, path.as_posix())
            neighbour.text = text
            yield self._analysed(neighbour)

    def _analysed(self, item: _Open) -> Analysis:
        diagnostics = Diagnostics()
        texts = {other.path: other.text for other in self._open.values() if other.path is not None}
        project = self._project(item.path.parent) if item.path is not None else None
        allowed = (*self.allowed, *(project.allow if project is not None else ()))
        workspace = OpenTexts(item.path.parent, allowed, texts) if item.path is not None else None
        document = item.parser.parse(Source(item.shown, item.text), diagnostics)
        compiled = compile_document(document, workspace, diagnostics)
        return Analysis(document, compiled, workspace, item.rig, project)

    def _project(self, folder: Path) -> FoundProject:
        """The project of a folder, looked for once until files on disk change."""
        if folder not in self._projects:
            self._projects[folder] = find_project(folder)
        return self._projects[folder]

    def _uses(self, analysis: Analysis, key: str) -> bool:
        shown = self._open[key].shown
        return any(source.path == shown for source in analysis._compiled.sources)
