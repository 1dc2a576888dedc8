"""The files that a spec's runs depend on, and when one of them is saved."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from time import sleep
from typing import Final

from plica.mesh.computed_cache import ComputedCache, Stamp, stamp
from plica.workspace import Refused, Workspace

LOOK_SECONDS: Final = 0.05
"""How often the files are looked at."""
SETTLE_SECONDS: Final = 0.02
"""How long they must stay as they are: some editors write in several steps."""


class NotingWorkspace(Workspace):
    """A spec's folder that notes which files were asked for, those that are missing too."""

    def __init__(self, root: Path, allowed: Sequence[Path]) -> None:
        super().__init__(root, allowed)
        self.asked: set[Path] = set()

    def locate(self, text: str, beside: Path | None = None) -> Path | Refused:
        """The file, as `Workspace` finds it."""
        located = super().locate(text, beside)
        self.asked.add((beside or self.root) / text if isinstance(located, Refused) else located)
        return located


class FollowedFiles:
    """The files that the last run of a spec depended on."""

    def __init__(self, spec: Path, memory: ComputedCache) -> None:
        """`memory` knows the files that models and clips are made of."""
        self._spec, self._memory = spec, memory
        self._stamps: dict[Path, Stamp] = {}
        self.also: tuple[Path, ...] = ()

    @contextmanager
    def run(self, allowed: Sequence[Path]) -> Iterator[NotingWorkspace]:
        """A run, which reads through the workspace that this gives; `also`: files that it depends on besides."""
        workspace = NotingWorkspace(self._spec.parent, allowed)
        # Before anything is read, so that what is saved while this runs counts as a change.
        self._stamps = {path: stamp(path) for path in {self._spec, *self._stamps}}
        yield workspace
        asked = {*workspace.asked, *self.also}
        depended_on = {self._spec, *asked, *(other for file in asked for other in self._memory.companions(file))}
        self._stamps = {path: self._stamps.get(path, stamp(path)) for path in sorted(depended_on)}

    @property
    def files(self) -> list[Path]:
        """The files, those that are missing too."""
        return list(self._stamps)

    def changes(self) -> list[Path]:
        """Those that are others by now."""
        return [path for path, before in self._stamps.items() if stamp(path) != before]

    def wait(self) -> tuple[Path, ...]:
        """Return once something has changed and nothing is being written any more; gives what has changed."""
        while not (changed := self.changes()):
            sleep(LOOK_SECONDS)
        before = None
        while (now := [stamp(path) for path in changed]) != before:
            before = now
            sleep(SETTLE_SECONDS)
        return tuple(self.changes())
