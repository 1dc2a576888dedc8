"""What a run looked at on the disk, and what it saw: so that a later run can ask whether it would see the same.

While `noting` lasts, whatever opens or looks up files says so here: `plica.regular_files` and the reader of OpenUSD.
That something was not there is noted like anything else. Where nothing notes, it costs nothing.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from plica.named_tuples import NamedTuple

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

Question = Literal["place", "kind", "open", "bytes", "file"]
"""What is asked of a path: `place`, where it leads, links followed; `kind`, what stands there; `open`, whether it opens
and how large it is, or why not; `bytes`, the digest of a stretch of it; `file`, the digest of all of it."""


class Observation(NamedTuple):
    """A question about a path and the answer; `detail` is the name of a limit, or the stretch as `OFFSET:LENGTH`."""

    question: Question
    path: str
    detail: str
    answer: str


class Observations:
    """Everything that was seen, once each.

    whole_files: files that another process read, of which all counts; their digests are taken afterwards. uncertain:
    whether something was read in a way that cannot be noted, so that nothing can be said about a later run.
    """

    def __init__(self) -> None:
        self.seen: dict[Observation, None] = {}
        self.whole_files: dict[Path, None] = {}
        self.uncertain = False


_NOTING: ContextVar[Observations | None] = ContextVar("noting", default=None)


@contextmanager
def noting() -> Iterator[Observations]:
    """Note everything that is looked at in this thread for as long as the context lasts."""
    observations = Observations()
    token = _NOTING.set(observations)
    try:
        yield observations
    finally:
        _NOTING.reset(token)


@contextmanager
def unnoted() -> Iterator[None]:
    """Note nothing for as long as the context lasts: what is looked at does not bear on the result."""
    token = _NOTING.set(None)
    try:
        yield
    finally:
        _NOTING.reset(token)


def note(question: Question, path: Path, detail: str, answer: str) -> None:
    """Note an answer, where anybody wants to know."""
    observations = _NOTING.get()
    if observations is not None:
        observations.seen[Observation(question, str(path.absolute()), detail, answer)] = None


def note_whole_files(paths: Iterable[Path]) -> None:
    """Note files that another process read, or looked for."""
    observations = _NOTING.get()
    if observations is not None:
        observations.whole_files.update(dict.fromkeys(path.absolute() for path in paths))


def doubt() -> None:
    """Note that something was seen that cannot be asked again."""
    observations = _NOTING.get()
    if observations is not None:
        observations.uncertain = True


def stream_of(descriptor: int, path: Path) -> io.BufferedReader:
    """The stream of an open file; what is read from it is noted."""
    observations = _NOTING.get()
    if observations is None:
        return io.open(descriptor, "rb")  # noqa: UP020 - beside the other one, which is no builtin either
    return io.BufferedReader(_NotedFile(descriptor, path, observations))


class _NotedFile(io.FileIO):
    """A file that notes which stretches of it are read, and what they hold."""

    def __init__(self, descriptor: int, path: Path, observations: Observations) -> None:
        super().__init__(descriptor, "rb")
        self._path, self._observations = str(path.absolute()), observations

    def readinto(self, buffer: WriteableBuffer, /) -> int:
        """Read into a buffer."""
        offset = self.tell()
        length = super().readinto(buffer)
        self._note(offset, bytes(memoryview(buffer).cast("B")[: length or 0]))
        return length

    def read(self, size: int | None = -1, /) -> bytes:
        """Read so many bytes, or all that are left."""
        offset = self.tell()
        data = super().read(size)
        self._note(offset, data or b"")
        return data

    def readall(self) -> bytes:
        """Read all that is left."""
        offset = self.tell()
        data = super().readall()
        self._note(offset, data or b"")
        return data

    def fileno(self) -> int:
        """The descriptor, from which anything may be read without a word."""
        self._observations.uncertain = True
        return super().fileno()

    def _note(self, offset: int, data: bytes) -> None:
        from hashlib import sha256  # only where something is noted

        entry = Observation("bytes", self._path, f"{offset}:{len(data)}", sha256(data).hexdigest())
        self._observations.seen[entry] = None
