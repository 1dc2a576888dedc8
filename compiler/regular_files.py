"""The one way to open a file that a user, a spec or a model names: a regular file, of a size known before it is read.

A pipe, a device or a socket may never end, may make a command wait for ever, or may do something as soon as it is
opened; none of them is a model, an image or a text. Nothing here waits for another program.
"""

from __future__ import annotations

import os
import stat
from io import BufferedReader
from pathlib import Path

from plica import limits

_FLAGS = (
    os.O_RDONLY
    # What was a file a moment ago may be a pipe by now, and opening one that nobody writes to must not hang.
    | getattr(os, "O_NONBLOCK", 0)
    | getattr(os, "O_NOCTTY", 0)
    | getattr(os, "O_BINARY", 0)
)
_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a named pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


class Unreadable(Exception):  # noqa: N818 - it names the state of a file, not a fault of ours
    """A file that cannot be read; the message says why, in the user's words."""


class TooLarge(Unreadable):
    """A file that is larger than its limit, a field of `Limits`."""

    def __init__(self, limit: str, most: int) -> None:
        name = limits.shown(limit)
        super().__init__(f"it is larger than {limits.size(most)}; raise the limit with `--limit {name}=SIZE`")


def opened(path: Path, limit: str) -> BufferedReader:
    """The file, opened for reading, links followed; `limit` names the largest size in `Limits`. Raises Unreadable."""
    try:
        _check(path.stat(), limit)  # before it is opened, which may already do something to a device
        descriptor = os.open(path, _FLAGS)
    except OSError as error:
        raise Unreadable(_sentence(error)) from error
    except ValueError as error:  # a null character in the name
        raise Unreadable("its name holds a character that no file name can hold") from error
    try:
        _check(os.fstat(descriptor), limit)
        return os.fdopen(descriptor, "rb")
    except BaseException:
        os.close(descriptor)
        raise


def content(path: Path, limit: str) -> bytes:
    """The bytes of the whole file. Raises Unreadable, also where it grows or shrinks meanwhile."""
    with opened(path, limit) as stream:
        size = os.fstat(stream.fileno()).st_size
        try:
            data = stream.read(size + 1)
        except OSError as error:
            raise Unreadable(_sentence(error)) from error
    if len(data or b"") != size:
        raise Unreadable("it changed while it was read, or is no file on a disk")
    return data


def kind_of(path: Path) -> str | None:
    """What stands at a place that is no regular file, as in `a folder`; None for a regular file, and for nothing.

    Raises OSError where the place cannot be looked at.
    """
    try:
        return _kind(path.stat().st_mode)
    except (FileNotFoundError, NotADirectoryError):
        return None


def _check(status: os.stat_result, limit: str) -> None:
    kind = _kind(status.st_mode)
    if kind is not None:
        raise Unreadable(f"it is {kind}, not a file")
    most: int = getattr(limits.in_force(), limit)
    if status.st_size > most:
        raise TooLarge(limit, most)


def _kind(mode: int) -> str | None:
    if stat.S_ISREG(mode):
        return None
    return next((kind for is_kind, kind in _KINDS if is_kind(mode)), "something else than a file")


def _sentence(error: OSError) -> str:
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return "it is not there"
    return f"it cannot be opened ({error.strerror or error})"
