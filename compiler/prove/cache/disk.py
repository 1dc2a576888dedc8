"""A cache on disk, keyed by content: what is in it is never out of date, only unused.

Each entry is a file of its own, `KIND/AB/KEY`, that begins with the SHA-256 digest of the rest: it is written whole
under another name and then renamed, and one that is damaged counts as absent. What was used longest ago goes first.
"""

from __future__ import annotations

import os
import secrets
import time
from collections.abc import Iterator
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Final, NamedTuple

from plica import observations, regular_files

MOST_BYTES: Final = 512 << 20
"""What a cache may take on disk."""
KINDS: Final = ("comparisons", "figures", "outcomes")
# What earlier versions kept, which only takes room now.
_FORMER: Final = ("preparations",)
TAG: Final = "CACHEDIR.TAG"
# The first line that marks a folder as a cache for archivers (Cache Directory Tagging Specification, B. Ford).
SIGNATURE: Final = (
    b"Signature: 8a477f597d28d172789f06886806bc55\n# This folder is a cache of Plica. It may be deleted.\n"
)
# What a file takes at the least.
_BLOCK: Final = 4096
_ABANDONED: Final = 3600.0
_PART: Final = ".part"


class _Entry(NamedTuple):
    used: float
    path: Path
    size: int


class DiskCache:
    """The cache in one folder. Where the disk refuses, it is as if nothing were kept; `problem` tells why."""

    def __init__(self, folder: Path, most_bytes: int = MOST_BYTES) -> None:
        self.folder = folder
        self.problem = ""
        self._most_bytes = most_bytes
        self._made: set[Path] = set()
        self._written = False

    def get(self, kind: str, key: str) -> bytes | None:
        """The content of an entry, None for none; a damaged one is deleted."""
        path = self._path(kind, key)
        try:
            with observations.unnoted():
                held = regular_files.content(path, "model_bytes")
        except regular_files.Unreadable:
            return None
        head, content = held[:64], held[65:]
        if sha256(content).hexdigest().encode() != head or held[64:65] != b"\n":
            with suppress(OSError):
                path.unlink()
            return None
        with suppress(OSError):
            os.utime(path)
        return content

    def put(self, kind: str, key: str, content: bytes) -> None:
        """Keeps an entry."""
        if self.problem:
            return
        path = self._path(kind, key)
        beside = path.parent / f"{secrets.token_hex(8)}{_PART}"
        try:
            self._make(path.parent)
            beside.write_bytes(sha256(content).hexdigest().encode() + b"\n" + content)
            beside.replace(path)
            self._written = True
        except OSError as error:
            self.problem = error.strerror or str(error)
        finally:  # also where somebody asks to stop meanwhile
            with suppress(OSError):
                beside.unlink(missing_ok=True)

    def trim(self) -> None:
        """Deletes what was used longest ago until the rest fits, if anything was written since."""
        if not self._written:
            return
        self._written = False
        entries = sorted(self._entries())
        size = sum(entry.size for entry in entries)
        for entry in entries:
            if size <= self._most_bytes:
                return
            with suppress(OSError):
                entry.path.unlink()
                size -= entry.size

    def _entries(self) -> Iterator[_Entry]:
        """What is kept; what a run that was killed has left half-written is deleted."""
        for kind in (*KINDS, *_FORMER):
            for path in (self.folder / kind).glob("??/*"):
                with suppress(OSError):
                    state = path.stat()
                    if path.suffix != _PART:
                        yield _Entry(state.st_mtime, path, -(-state.st_size // _BLOCK) * _BLOCK)
                    elif time.time() - state.st_mtime > _ABANDONED:
                        path.unlink()

    def _path(self, kind: str, key: str) -> Path:
        return self.folder / kind / key[:2] / key

    def _make(self, folder: Path) -> None:
        if folder in self._made:
            return
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        folder.mkdir(parents=True, exist_ok=True)
        tag = self.folder / TAG
        if not tag.exists():
            tag.write_bytes(SIGNATURE)
        self._made.add(folder)
