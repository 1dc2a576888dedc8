"""What a worker tells while it works, in memory that outlives it: the input at hand and how many there were."""

from __future__ import annotations

import mmap
import struct
import time
from pathlib import Path

_HEAD = struct.Struct("<QdQ")  # inputs so far, when the present one began (0 for none), its length


class State:
    """One worker's state in a file, seen by the worker and by its supervisor."""

    def __init__(self, path: Path, longest: int | None = None) -> None:
        """`longest`: made anew, for inputs of so many bytes; without it the file is there."""
        if longest is not None:
            path.write_bytes(bytes(_HEAD.size + longest))
        with path.open("r+b") as file:
            self._map = mmap.mmap(file.fileno(), 0)
        self._longest = len(self._map) - _HEAD.size

    def begin(self, data: bytes) -> None:
        """An input is about to be judged."""
        kept = data[: self._longest]
        self._map[_HEAD.size : _HEAD.size + len(kept)] = kept
        self._map[: _HEAD.size] = _HEAD.pack(self.count + 1, time.monotonic(), len(kept))

    def end(self) -> None:
        """It was judged."""
        self._map[: _HEAD.size] = _HEAD.pack(self.count, 0.0, 0)

    @property
    def count(self) -> int:
        """How many inputs were begun."""
        return int(_HEAD.unpack_from(self._map)[0])

    @property
    def running(self) -> tuple[float, bytes] | None:
        """For how many seconds the present input has run, and the input; None between two inputs."""
        _, began, length = _HEAD.unpack_from(self._map)
        return (time.monotonic() - began, self._map[_HEAD.size : _HEAD.size + length]) if began else None
