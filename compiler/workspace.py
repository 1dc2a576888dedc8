"""The only place through which compiling reads files: inside the spec's folder, unless the user allows more."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath

from plica import file_names, limits, regular_files
from plica.named_tuples import NamedTuple


class Refused(NamedTuple):
    """Why a file cannot be used: the name of a diagnostic and what fills it."""

    name: str
    values: dict[str, str]


class Workspace:
    """The folder of one spec.

    `root` is the folder of the spec that was given; files that specs name are looked up from it and must lie in
    it or in one of the `allowed` folders, symbolic links followed. So must the spec itself: one that is a link to a
    file elsewhere is refused like any other file from outside.
    """

    def __init__(self, root: Path, allowed: Sequence[Path] = ()) -> None:
        self.root = root
        self._roots = [regular_files.resolved(folder) for folder in (root, *allowed)]

    def locate(self, text: str, beside: Path | None = None) -> Path | Refused:
        """The existing file that a spec names, from `beside` (a folder; default: the root)."""
        posix = text.replace("\\", "/")
        drive = PureWindowsPath(text).drive
        if drive and os.name != "nt":
            return Refused("file-outside", {"file": text})  # drives and shares are other places, wherever they exist
        if (problem := _problem_of(posix[len(drive) :])) is not None:
            return Refused("missing-file", {"file": text.replace("\0", "\\0"), "reason": problem})
        is_absolute = bool(drive) or PurePosixPath(posix).is_absolute()
        candidate = Path(text) if is_absolute else (beside or self.root) / posix
        try:
            resolved = regular_files.resolved(candidate)
            if not self.holds(resolved):
                return Refused("file-outside", {"file": text})
            if not regular_files.is_file(resolved):
                reason = regular_files.kind_of(resolved) or "not there"
                return Refused("missing-file", {"file": text, "reason": reason})
        except (OSError, RuntimeError, ValueError):
            return Refused("missing-file", {"file": text, "reason": "not a usable name"})
        return resolved

    def read_text(self, path: Path, name: str, limit: str = "spec_bytes") -> str | Refused:
        """A spec's text: UTF-8, with or without a byte order mark, line ends as they are."""
        data = self.read_bytes(path, name, limit)
        return data if isinstance(data, Refused) else text_of(data, name)

    def read_bytes(self, path: Path, name: str, limit: str = "spec_bytes") -> bytes | Refused:
        """A spec's bytes; `limit` names the largest size in `Limits`."""
        try:
            if not self.holds(regular_files.resolved(path)):
                return Refused("file-outside", {"file": name})
        except (OSError, RuntimeError, ValueError):  # links in a circle, a path that holds a null character
            return _unreadable(name, "it has no usable name")
        return read_bytes(path, name, limit)

    def holds(self, resolved: Path) -> bool:
        """Whether a place, links followed, is one that may be read."""
        return any(resolved.is_relative_to(root) for root in self._roots)


def read_text(path: Path, name: str) -> str | Refused:
    """A text that the user names, wherever it lies."""
    data = read_bytes(path, name)
    return data if isinstance(data, Refused) else text_of(data, name)


def read_bytes(path: Path, name: str, limit: str = "text_bytes") -> bytes | Refused:
    """The bytes of a file that the user names, wherever it lies; `limit` names the largest size in `Limits`."""
    try:
        return regular_files.content(path, limit)
    except regular_files.TooLarge:
        return too_large(name, limit)
    except regular_files.Unreadable as error:
        return _unreadable(name, str(error))


def too_large(name: str, limit: str) -> Refused:
    """The refusal of a file that is larger than a limit."""
    most = limits.size(getattr(limits.in_force(), limit))
    return Refused("file-too-large", {"file": name, "limit": most, "name": limits.shown(limit)})


def located_bytes(locate: Callable[[str], Path | Refused], file: str, limit: str) -> bytes | Refused:
    """The bytes of a model or an image that a spec names; `limit` names the largest size in `Limits`."""
    path = locate(file)
    return path if isinstance(path, Refused) else read_bytes(path, file, limit)


def text_of(data: bytes, name: str) -> str | Refused:
    """The text that a spec's bytes hold: UTF-8, without the byte order mark, line ends as they are."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return _unreadable(name, f"byte {error.start} is not UTF-8 text")
    return _unreadable(name, "it holds null characters, so it is not a text") if "\0" in text else text


def _problem_of(posix: str) -> str | None:
    """Why a name in a spec is no usable one. Unlike outputs, files that are read may stand in folders above."""
    steps = [step for step in posix.split("/") if step not in ("", ".", "..")]
    if not steps:
        return "not a usable name"
    return next((problem for step in steps if (problem := file_names.problem_of_step(step))), None)


def _unreadable(name: str, reason: str) -> Refused:
    return Refused("unreadable-file", {"file": name, "reason": reason})
