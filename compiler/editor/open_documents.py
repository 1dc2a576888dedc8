"""Texts that are open in an editor, compiled as they stand there, whether they are saved or not."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

from plica.api.found_project import FoundProject, find_project
from plica.diagnostics import Diagnostics, Severity
from plica.editor.library_users import candidates, may_use
from plica.editor.positions import Lines
from plica.pipeline import Compiled, compile_document
from plica.rig.rig import Rig
from plica.source import Source
from plica.spec.bind import Bound, bind
from plica.spec.symbols import Symbols
from plica.syntax.incremental import IncrementalParser
from plica.syntax.nodes import Document
from plica.syntax.parser import parse
from plica.workspace import Refused, Workspace

MOST_NEIGHBOURS = 64  # specs on disk that are compiled to find what a library means in those that use it
MOST_USERS = 256  # that are compiled for a rename


class Users(NamedTuple):
    """The analyses of a text, or of a library those of all that use it; `left_out` says why there may be more."""

    analyses: tuple[Analysis, ...]
    left_out: str = ""


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
        allowed: Sequence[Path] = (),
    ) -> None:
        """`earlier`: the rig of the latest version without errors, which stands in as `rig` where this one has errors;
        `project`: what accepts some of the findings."""
        self.document = document
        found = compiled.diagnostics
        self.diagnostics = found if project is None else project.accepted(found, document.source.path)
        self.is_library = compiled.is_library
        self.rig = compiled.rig or earlier
        self.own_rig = compiled.rig
        self._compiled = compiled
        self._workspace, self._project = workspace, project
        self.allowed = tuple(folder.as_posix() for folder in allowed)  # beside its own, for files that it names

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
    def clips(self) -> tuple[str, ...]:
        """The clips of the project that it belongs to."""
        members = self._project.members()[0] if self._project is not None else None
        return () if members is None else tuple(clip.as_posix() for clip in members.clips)

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

    def __init__(self, allowed: Sequence[Path] = (), heed: Callable[[], None] = lambda: None) -> None:
        """heed: called before each part of longer work; what it raises ends that."""
        self.allowed, self._heed = tuple(allowed), heed
        self.folders: tuple[Path, ...] = ()  # that the editor works in
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
        return None if item is None else self._analysis_of(item)

    def _analysis_of(self, item: _Open) -> Analysis:
        if item.analysis is None:
            item.analysis = self._analysed(item)
            item.rig = item.analysis.rig
        return item.analysis

    def stale(self) -> list[str]:
        """The open texts that have to be compiled again."""
        return [key for key, item in self._open.items() if item.analysis is None]

    def is_used(self, key: str) -> bool:
        """Whether an open spec of a character uses this text, as far as open texts were compiled."""
        return key in self._open and any(
            other.analysis is not None and not other.analysis.is_library and self._uses(other.analysis, key)
            for other in self._open.values()
            if other is not self._open[key]
        )

    def libraries_of(self, key: str) -> list[str]:
        """The open texts that an open text uses."""
        own = self.analysis(key)
        return [other for other in self._open if other != key and own is not None and self._uses(own, other)]

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

    def users_of(self, path: str) -> Users:
        """Everything that means what the file `path` declares: itself, or all specs that use it."""
        open_one = next((item for item in self._open.values() if item.shown == path), None)
        own = self._analysed_file(Path(path)) if open_one is None else self._analysis_of(open_one)
        if own is None or not own.is_library:
            return Users((own,) if own is not None else (), "" if own is not None else f"{path} cannot be read")
        library = Path(path).resolve()
        found = candidates(library, self._project(library.parent), self.folders)
        texts = {**found.texts, **{item.path: item.text for item in self._open.values() if item.path is not None}}
        using = may_use(library, texts)
        left_out = "" if found.are_all else "there are more specs near it than are read"
        if len(using) > MOST_USERS:
            return Users((own,), f"more than {MOST_USERS} specs may use {path}, more than are looked at")
        all_of_them = [analysis for one in using if (analysis := self._analysed_file(one)) is not None]
        if len(all_of_them) < len(using):
            left_out = "a spec that may use it cannot be read"
        analyses = [one for one in all_of_them if not one.is_library and _holds(one, library)]
        seen = {Path(document.source.path).resolve() for one in analyses for document in one.documents}
        alone = (one.source.path for one in all_of_them if one.is_library and _holds(one, library))
        unused = next((path for path in alone if Path(path).resolve() not in seen), None)
        if unused is not None:
            left_out = f"the library {unused} uses it, and what it means there is only known where a spec uses that"
        return Users(tuple(analyses) or (own,), left_out)

    def known_texts(self, query: str) -> list[Document]:
        """The open texts, and those saved near them or in the editor's folders that hold a text; parsed, not bound."""
        opened = [analysis.document for key in self.keys if (analysis := self.analysis(key)) is not None]
        texts: dict[Path, str] = {}
        for path in [item.path for item in self._open.values() if item.path is not None]:
            texts.update(candidates(path, self._project(path.parent), self.folders).texts)
        known = {item.path for item in self._open.values()}
        wanted = [path for path, text in texts.items() if path not in known and query.casefold() in text.casefold()]
        for path in wanted[:MOST_USERS]:
            self._heed()
            opened.append(parse(Source(path.as_posix(), texts[path]), Diagnostics()))
        return opened

    def texts(self) -> dict[str, str]:
        """The open texts that have a file, by its resolved path."""
        return {item.path.as_posix(): item.text for item in self._open.values() if item.path is not None}

    def compiled_with(self, analysis: Analysis, texts: Mapping[str, str]) -> Analysis:
        """A text compiled with other texts than those that are open or saved; `texts` by path."""
        path = Path(analysis.source.path)
        item = _Open(path if analysis.folder is not None else None, analysis.source.path)
        item.text = texts.get(analysis.source.path, analysis.source.text)
        return self._analysed(item, {Path(name).resolve(): text for name, text in texts.items()})

    def _analysed_file(self, path: Path) -> Analysis | None:
        """The analysis of a file, open or not; None where it cannot be read."""
        known = next((item for item in self._open.values() if item.path == path), None)
        if known is not None:
            return self._analysis_of(known)
        text = Workspace(path.parent).read_text(path, path.name)
        if isinstance(text, Refused):
            return None
        item = _Open(path, path.as_posix())
        item.text = text
        return self._analysed(item)

    def _users(self, own: Analysis, key: str) -> Iterator[Analysis]:
        path = own.source.path
        for other in (*self._analyses(key), *self._neighbours(self._open[key])):
            if not other.is_library and any(document.source.path == path for document in other.documents):
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
        found = candidates(item.path, self._project(item.path.parent), self.folders)
        using = [path for path in may_use(item.path, found.texts) if path not in known]
        for path in using[:MOST_NEIGHBOURS]:
            neighbour = self._analysed_file(path)
            if neighbour is not None:
                yield neighbour

    def _analysed(self, item: _Open, instead: Mapping[Path, str] | None = None) -> Analysis:
        self._heed()
        diagnostics = Diagnostics()
        texts = {other.path: other.text for other in self._open.values() if other.path is not None} | {
            **(instead or {})
        }
        project = self._project(item.path.parent) if item.path is not None else None
        allowed = (*self.allowed, *(project.allow if project is not None else ()))
        workspace = OpenTexts(item.path.parent, allowed, texts) if item.path is not None else None
        document = item.parser.parse(Source(item.shown, item.text), diagnostics)
        compiled = compile_document(document, workspace, diagnostics)
        return Analysis(document, compiled, workspace, item.rig, project, allowed)

    def _project(self, folder: Path) -> FoundProject:
        """The project of a folder, looked for once until files on disk change."""
        if folder not in self._projects:
            self._projects[folder] = find_project(folder)
        return self._projects[folder]

    def _uses(self, analysis: Analysis, key: str) -> bool:
        shown = self._open[key].shown
        return any(source.path == shown for source in analysis._compiled.sources)


def _holds(analysis: Analysis, library: Path) -> bool:
    return any(Path(document.source.path).resolve() == library for document in analysis.documents)
