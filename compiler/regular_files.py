"""The one way to open a file that a user, a spec or a model names: a regular file, of a size known before it is read.

A pipe, a device or a socket may never end, may make a command wait for ever, or may do something as soon as it is
opened; none of them is a model, an image or a text. Nothing here waits for another program.
"""

from __future__ import annotations

import os
import stat
from io import BufferedReader
from pathlib import Path

from plica import limits, observations

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
    return observations.stream_of(_descriptor(path, limit)[0], path)


def content(path: Path, limit: str) -> bytes:
    """The bytes of the whole file. Raises Unreadable, also where it grows or shrinks meanwhile."""
    descriptor, size = _descriptor(path, limit)
    with observations.stream_of(descriptor, path) as stream:
        try:
            data = stream.read(size + 1)
        except OSError as error:
            raise Unreadable(_sentence(error)) from error
    if len(data or b"") != size:
        raise Unreadable("it changed while it was read, or is no file on a disk")
    return data


def resolved(path: Path) -> Path:
    """The place that a path leads to, links followed. Raises OSError, RuntimeError and ValueError as Path.resolve."""
    try:
        place = path.resolve()
    except (OSError, RuntimeError, ValueError) as error:
        if "\0" not in str(path):  # no file can be named so, today or later
            observations.note("place", path, "", f"{type(error).__name__}")
        raise
    observations.note("place", path, "", str(place))
    return place


def kind_of(path: Path) -> str | None:
    """What stands at a place that is no regular file, as in `a folder`; None for a regular file, and for nothing.

    Raises OSError where the place cannot be looked at.
    """
    return _seen(path)[1]


def is_file(path: Path) -> bool:
    """Whether a regular file stands at a place, links followed. Raises OSError where it cannot be looked at."""
    return _seen(path) == (True, None)


def _seen(path: Path) -> tuple[bool, str | None]:
    """Whether anything stands at a place, and what it is where it is no regular file."""
    try:
        result = True, _kind(path.stat().st_mode)
    except (FileNotFoundError, NotADirectoryError):
        result = False, None
    observations.note("kind", path, "", result[1] or ("a file" if result[0] else ""))
    return result


def _descriptor(path: Path, limit: str) -> tuple[int, int]:
    """The file, opened for reading, and its size. Raises Unreadable."""
    try:
        descriptor, size = _opened(path, limit)
    except Unreadable as error:
        observations.note("open", path, limit, str(error))
        raise
    observations.note("open", path, limit, f"{size} bytes")
    return descriptor, size


def _opened(path: Path, limit: str) -> tuple[int, int]:
    try:
        _check(path.stat(), limit)  # before it is opened, which may already do something to a device
        descriptor = os.open(path, _FLAGS)
    except OSError as error:
        raise Unreadable(_sentence(error)) from error
    except ValueError as error:  # a null character in the name
        raise Unreadable("its name holds a character that no file name can hold") from error
    try:
        status = os.fstat(descriptor)
        _check(status, limit)
    except BaseException:
        os.close(descriptor)
        raise
    return descriptor, status.st_size


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
