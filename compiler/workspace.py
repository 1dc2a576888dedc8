"""The only place through which compiling reads files: inside the spec's folder, unless the user allows more."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import NamedTuple

from plica import limits


class Refused(NamedTuple):
    """Why a file cannot be used: the name of a diagnostic and what fills it."""

    name: str
    values: dict[str, str]


class Workspace:
    """The folder of one spec.

    `root` is the folder of the spec that was given; files that specs name are looked up from it and must lie in
    it or in one of the `allowed` folders, symbolic links followed.
    """

    def __init__(self, root: Path, allowed: Sequence[Path] = ()) -> None:
        self.root = root
        self._roots = [folder.resolve() for folder in (root, *allowed)]

    def locate(self, text: str, beside: Path | None = None) -> Path | Refused:
        """The existing file that a spec names, from `beside` (a folder; default: the root)."""
        if not text or "\0" in text:
            return Refused("missing-file", {"file": text.replace("\0", "\\0"), "reason": "not a usable name"})
        posix = text.replace("\\", "/")
        # Drive letters and shares mean other places on some machines, so they are never relative names.
        if PureWindowsPath(text).drive or PurePosixPath(posix).is_absolute():
            candidate = Path(text)
        else:
            candidate = (beside or self.root) / posix
        try:
            resolved = candidate.resolve()
            if not any(resolved.is_relative_to(root) for root in self._roots):
                return Refused("file-outside", {"file": text})
            if not resolved.is_file():
                reason = "a folder" if resolved.is_dir() else "not there"
                return Refused("missing-file", {"file": text, "reason": reason})
        except (OSError, RuntimeError, ValueError):
            return Refused("missing-file", {"file": text, "reason": "not a usable name"})
        return resolved

    def read_text(self, path: Path, name: str) -> str | Refused:
        """A spec's text: UTF-8, with or without a byte order mark, line ends as they are."""
        data = read_bytes(path, name)
        return data if isinstance(data, Refused) else text_of(data, name)


def read_bytes(path: Path, name: str) -> bytes | Refused:
    """A spec's bytes."""
    try:
        most = limits.in_force().text_bytes
        if path.stat().st_size > most:
            return Refused("file-too-large", {"file": name, "limit": limits.size(most), "name": "text-bytes"})
        return path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a path that holds a null character
        return _unreadable(name, getattr(error, "strerror", None) or str(error))


def located_bytes(locate: Callable[[str], Path | Refused], file: str) -> bytes | Refused:
    """The bytes of a model or an image that a spec names, which may be larger than any spec."""
    path = locate(file)
    if isinstance(path, Refused):
        return path
    try:
        return path.read_bytes()
    except OSError as error:
        return _unreadable(file, error.strerror or str(error))


def text_of(data: bytes, name: str) -> str | Refused:
    """The text that a spec's bytes hold: UTF-8, without the byte order mark, line ends as they are."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return _unreadable(name, f"byte {error.start} is not UTF-8 text")
    return _unreadable(name, "it holds null characters, so it is not a text") if "\0" in text else text


def _unreadable(name: str, reason: str) -> Refused:
    return Refused("unreadable-file", {"file": name, "reason": reason})
