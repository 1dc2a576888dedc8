"""One writer at a time in a folder: a lock that the system takes back when its holder ends, however it ends.

The lock is on an open file, `.plica.lock`; the file is removed with the lock, and one that a killed process left behind
locks nobody out.
"""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from time import monotonic, sleep
from typing import Final

NAME: Final = ".plica.lock"
WAIT_SECONDS: Final = 20.0  # writing takes seconds at most; whoever holds the lock longer is stuck
_LOOK_SECONDS: Final = 0.05
_NO_LOCKS: Final = frozenset(
    getattr(errno, name) for name in ("ENOLCK", "ENOSYS", "ENOTSUP", "EOPNOTSUPP") if hasattr(errno, name)
)


class FolderBusyError(OSError):
    """Another process went on holding the lock."""


@contextmanager
def locked(folder: Path, waiting: Callable[[], None], seconds: float) -> Iterator[bool]:
    """Holds the lock of an existing folder; gives whether the file system has locks at all.

    `waiting` is called once where another process holds it. Raises FolderBusyError where it is held longer than
    `seconds`, and OSError where the lock's file cannot be made.
    """
    place = folder / NAME
    end, told = monotonic() + seconds, False
    while (held := _try(place)) is None:
        if monotonic() >= end:
            raise FolderBusyError(errno.EAGAIN, "another build goes on writing into this folder")
        if not told:
            waiting()
            told = True
        sleep(_LOOK_SECONDS)
    file, locks = held
    try:
        yield locks
    finally:
        _release(file, place)


def _try(place: Path) -> tuple[int, bool] | None:
    """The lock's open file, and whether it is a lock; None where another process has it."""
    file = os.open(place, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0), 0o666)
    try:
        _lock(file)
    except OSError as error:
        if error.errno in _NO_LOCKS:
            return file, False
        os.close(file)
        if error.errno in (errno.EAGAIN, errno.EACCES, errno.EDEADLK):
            return None
        raise
    if _is_same(file, place):
        return file, True
    os.close(file)  # whoever held it has removed it meanwhile: this is the lock of no place
    return None


def _is_same(file: int, place: Path) -> bool:
    try:
        there = place.stat(follow_symlinks=False)
    except FileNotFoundError:
        return False
    return os.path.samestat(os.fstat(file), there)


if sys.platform == "win32":
    import msvcrt

    def _lock(file: int) -> None:
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)

    def _release(file: int, place: Path) -> None:
        os.close(file)
        with suppress(OSError):  # an open file cannot be removed here: then another process has it now
            place.unlink()

else:
    import fcntl

    def _lock(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _release(file: int, place: Path) -> None:
        with suppress(OSError):
            if _is_same(file, place):
                place.unlink()  # before the lock is given back, so that nobody's lock is removed but this one
        os.close(file)
