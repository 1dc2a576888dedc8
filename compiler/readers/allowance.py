"""What the arrays behind one file may take: memory and time in proportion to its size, whatever numbers it states.

A few bytes can stand for gigabytes: an accessor without data, a mesh that many nodes show, frames of joints that
nothing moves. Whoever is about to make an array that the file's own bytes do not fill counts it here first.
"""

from __future__ import annotations

from collections.abc import Callable

from plica import limits
from plica.readers.model_outline import UnreadableModel


class OverLimit(UnreadableModel):
    """A file that asks for more than a limit; `values` fill the diagnostic `over-limit`."""

    def __init__(self, what: str, count: str, limit: str, name: str) -> None:
        """`name`: of the limit, as users write it."""
        self.values = {"what": what, "count": count, "limit": limit, "name": name}
        super().__init__(f"{what} has {count}, more than the limit of {limit}; `--limit {name}=VALUE` raises it")


class Allowance:
    """Counts the bytes of arrays against the size of the file that they stand in."""

    def __init__(self, file_bytes: int) -> None:
        self.file_bytes = file_bytes
        self._taken = 0

    def take(self, count: int, what: str, more: Callable[[], None] | None = None) -> None:
        """Counts the bytes of an array that is about to be made; `what` is what it is for.

        `more` makes `file_bytes` grow by data that are not read yet; it is asked before anything is refused. Raises
        OverLimit.
        """
        self._taken += count
        if self._taken > self._most() and more is not None:
            more()
        if self._taken > self._most():
            name = "unpacked-bytes"
            raise OverLimit(what, f"{in_mebibytes(self._taken)} of numbers", in_mebibytes(self._most()), name)

    def _most(self) -> int:
        chosen = limits.in_force()
        return max(chosen.unpacked_bytes, chosen.unpacked_times * self.file_bytes)


def in_mebibytes(count: int) -> str:
    """A number of bytes, rounded up to whole MiB."""
    return f"{-(-count // 1024**2)} MiB"
