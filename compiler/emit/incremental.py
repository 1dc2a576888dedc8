"""Building one spec again and again: what has not changed since the last time is not computed again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from plica.diagnostics import Diagnostic, Diagnostics
from plica.emit.artifacts import Request, build_targets
from plica.emit.build import Build
from plica.emit.followed_files import FollowedFiles
from plica.emit.output_set import OutputSet
from plica.emit.prepare import prepare
from plica.mesh.computed_cache import ComputedCache
from plica.pipeline import Compiled, compile_document
from plica.source import Source
from plica.syntax.incremental import IncrementalParser
from plica.workspace import Refused, Workspace


class Rebuilt(NamedTuple):
    """What a build gave: the files of all targets as a set (None where there are errors), and what was found.

    `compiled` and `build` are None where it did not come to that.
    """

    files: OutputSet | None
    diagnostics: tuple[Diagnostic, ...]
    compiled: Compiled | None
    build: Build | None

    @property
    def has_errors(self) -> bool:
        """Whether there was anything to keep the build from being whole."""
        return self.files is None


class Rebuilder:
    """Builds one spec; keeps what it computed in `memory`; `followed`: the files that the last build depended on."""

    def __init__(self, spec: Path, requests: Sequence[Request], allowed: Sequence[Path] = ()) -> None:
        """Without `requests` the spec is only checked."""
        self._spec, self._requests, self._allowed = spec, tuple(requests), tuple(allowed)
        self._parser = IncrementalParser()
        self.memory = ComputedCache()
        self.followed = FollowedFiles(spec, self.memory)

    def rebuild(self, step: Callable[[str], None] = lambda text: None) -> Rebuilt:
        """Build from the files as they are now. Nothing is written."""
        with self.followed.run(self._allowed) as workspace:
            return self._rebuilt(workspace, Diagnostics(), step)

    def _rebuilt(self, workspace: Workspace, diagnostics: Diagnostics, step: Callable[[str], None]) -> Rebuilt:
        step("checking")
        text = workspace.read_text(self._spec, self._spec.name)
        if isinstance(text, Refused):
            diagnostics.add_filled(text.name, None, text.values)
            return Rebuilt(None, diagnostics.all, None, None)
        document = self._parser.parse(Source(self._spec.as_posix(), text), diagnostics)
        compiled = compile_document(document, workspace, diagnostics)
        made: Build | None = None
        files: OutputSet | None = None
        if not self._requests:
            files = None if diagnostics.has_errors else OutputSet("", "")
        elif compiled.rig is None and not diagnostics.has_errors:
            diagnostics.add("nothing-to-build", None, file=self._spec)
        elif not diagnostics.has_errors:
            made = prepare(compiled, self._spec.parent, self._allowed, diagnostics, step, memory=self.memory)
            if made is not None:
                files = build_targets(made, self._requests, diagnostics, step=step)
        return Rebuilt(None if diagnostics.has_errors else files, diagnostics.all, compiled, made)
