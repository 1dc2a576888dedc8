"""Building one spec again whenever something that it depends on is saved."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

from plica.api.character import Character, FilePath, character_of, counted_errors, folders
from plica.api.comparing import Comparison
from plica.diagnostics import Diagnostic, Diagnostics
from plica.diff.character_state import CharacterState
from plica.diff.character_states import ONE, contents_of, state_of
from plica.diff.comparison import compare
from plica.emit.artifacts import DEFAULT_TARGETS, Request
from plica.emit.incremental import Rebuilder, Rebuilt
from plica.emit.publish import publish
from plica.pipeline import Compiled
from plica.workspace import Workspace

if TYPE_CHECKING:
    from plica.api.reproving import Reproof, Reprover


@dataclass(frozen=True, eq=False, repr=False)
class Rebuild:
    """One build of a spec that is watched.

    changed: the files whose change led to it, none for the first; watched: the files that it depends on; written: the
    outputs that were written, by path relative to the folder, None where nothing is to be written; ok: whether there
    was no error; seconds: how long it took; comparison: what is different from the last build without errors, as the
    texts and files say it (nothing is measured on the mesh, whose earlier state is gone), None without both builds;
    proof: every expectation measured, where that is asked for, and which of them hang on what changed since the last
    proof; None where the build has errors, and where a file was saved meanwhile: the next rebuild has it.
    """

    character: Character
    changed: tuple[Path, ...]
    watched: tuple[Path, ...]
    written: tuple[str, ...] | None
    ok: bool
    diagnostics: tuple[Diagnostic, ...]
    seconds: float
    comparison: Comparison | None = None
    proof: Reproof | None = None

    def __repr__(self) -> str:
        what = f"{len(self.written or ())} written" if self.ok else counted_errors(self.diagnostics)
        return f"<Rebuild of {self.character.file!r}: {what}, {self.seconds:.2f} s>"


class _SavedMeanwhileError(Exception):
    """A file that a proof depends on was saved while it ran. Never leaves this module."""


class Watcher:
    """A spec that is watched. Iterating builds now, and again after every change, without end."""

    def __init__(
        self,
        path: Path,
        requests: Sequence[Request],
        out: Path | None,
        allowed: tuple[Path, ...],
        reprover: Reprover | None = None,
    ) -> None:
        self._path, self._out, self._allowed = path, out, allowed
        self._rebuilder = Rebuilder(path, requests, allowed)
        self._good: CharacterState | None = None
        self._reprover = reprover
        if reprover is not None:
            reprover.memory = self._rebuilder.memory
            self._rebuilder.followed.also = tuple(Path(clip) for clip in reprover.clips)

    def __iter__(self) -> Iterator[Rebuild]:
        changed: tuple[Path, ...] = ()
        while True:
            yield self.proven(self.rebuild(changed))
            changed = self.wait()

    def rebuild(self, changed: tuple[Path, ...] = (), progress: Callable[[str], None] = lambda step: None) -> Rebuild:
        """Build from the files as they are now, and write. `changed`: what led to it; `progress`: called with steps."""
        start = perf_counter()
        rebuilt = self._rebuilder.rebuild(progress)
        diagnostics = Diagnostics()
        diagnostics.extend(rebuilt.diagnostics)
        files, out = rebuilt.files, self._out
        done = publish(files, out, diagnostics) if files is not None and out is not None else None
        ok = rebuilt.files is not None and not diagnostics.has_errors
        comparison = self._compared(rebuilt.compiled) if ok else None
        return Rebuild(
            self._character(rebuilt),
            changed,
            tuple(self._rebuilder.followed.files),
            None if done is None else done.written,
            ok,
            diagnostics.all,
            perf_counter() - start,
            comparison,
        )

    def proven(self, rebuild: Rebuild, progress: Callable[[str], None] = lambda step: None) -> Rebuild:
        """The build with every expectation measured, where that was asked for and the build is good.

        Measuring ends as soon as something is saved that the build depends on; figures that were measured by then are
        kept.
        """
        if self._reprover is None or not rebuild.ok or rebuild.character.rig is None:
            return rebuild

        def step(what: str) -> None:
            if self._rebuilder.followed.changes():
                raise _SavedMeanwhileError
            progress(what)

        try:
            return replace(rebuild, proof=self._reprover.prove(rebuild.character, step))
        except _SavedMeanwhileError:
            return rebuild

    def _compared(self, compiled: Compiled | None) -> Comparison | None:
        """What is different from the last build without errors; this one is the last from now on."""
        if compiled is None or compiled.rig is None:
            return None
        contents = contents_of(compiled.rig, Workspace(self._path.parent, self._allowed))
        before, self._good = self._good, state_of(compiled, self._path.as_posix(), contents)
        return None if before is None else Comparison(compare({ONE: before}, {ONE: self._good}), ())

    def wait(self) -> tuple[Path, ...]:
        """Return once something has changed and nothing is being written any more; gives what has changed."""
        return self._rebuilder.followed.wait()

    def _character(self, rebuilt: Rebuilt) -> Character:
        compiled = rebuilt.compiled
        if compiled is None:
            return Character(None, rebuilt.diagnostics, self._path.as_posix(), self._path.parent, self._allowed)
        return character_of(compiled, self._path.as_posix(), self._path.parent, self._allowed)

    def __repr__(self) -> str:
        return f"<Watcher of {self._path.as_posix()!r}: {len(self._rebuilder.followed.files)} files>"


def watch_spec(
    spec: FilePath,
    *,
    targets: Iterable[str] = DEFAULT_TARGETS,
    folder: FilePath | None = None,
    allow: Iterable[FilePath] = (),
    prove: bool = False,
    clips: Iterable[FilePath] = (),
    cache: FilePath | bool = True,
) -> Watcher:
    """Build a spec now, and again after every change; what has not changed is not computed again.

    `for rebuild in plica.watch_spec("wren.plica", folder="build")` goes on until it is left. folder: where the targets
    are written; without one the spec is only checked. allow: folders besides the spec's own that files may lie in.
    prove: also measure the expectations, and say which of them a change touches; clips, cache: as
    `prove_expectations` takes them.
    Mistakes are diagnostics of each build; nothing is raised.
    """
    names = (targets,) if isinstance(targets, str) else tuple(dict.fromkeys(targets))
    out = None if folder is None else Path(folder)
    requests = [] if out is None else [Request(name) for name in names]
    return Watcher(Path(spec), requests, out, folders(allow), _reprover(folders(clips), cache) if prove else None)


def _reprover(clips: Sequence[Path], cache: FilePath | bool) -> Reprover:
    from plica.api.kept_in import store_in
    from plica.api.reproving import Reprover

    return Reprover(store_in(cache), [clip.as_posix() for clip in clips])
