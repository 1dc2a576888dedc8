"""Putting new files in the places of old ones: all, or as before; and where not even that works, saying what is there.

New files are written whole under other names, old ones kept under other names, and then all are renamed, in order. The
other names begin with `.plica-` and end in `.part`: what a killed build left of them is removed by the next one.
"""

from __future__ import annotations

import os
import re
import secrets
import shutil
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from enum import Enum
from hashlib import file_digest
from pathlib import Path
from typing import Final

from plica import regular_files
from plica.emit.lock import NAME as LOCK
from plica.emit.output_set import digest

UNREADABLE: Final = "unreadable"
_PART: Final = re.compile(r"\.plica-[0-9a-f]{16}\.part")


class Standing(Enum):
    """What stands in a file's place after an exchange that failed."""

    BEFORE = "as it was"
    NEW = "new"
    MISSING = "missing"
    OTHER = "neither the old nor the new file"
    UNKNOWN = "cannot be read"


class ExchangeError(Exception):
    """An exchange that the system refused: at which place, why, and what stands in each place now."""

    def __init__(self, place: Path, problem: str, standing: Mapping[Path, Standing]) -> None:
        super().__init__(problem)
        self.place, self.problem, self.standing = place, problem, standing

    @property
    def is_as_before(self) -> bool:
        """Whether nothing was changed, or all of it was put back."""
        return all(one is Standing.BEFORE for one in self.standing.values())


def content_of(place: Path) -> bytes | None:
    """What a file holds; None where there is none that can be read."""
    try:
        return regular_files.content(place, "model_bytes")
    except regular_files.Unreadable:
        return None


def digest_of_place(place: Path) -> str | None:
    """The SHA-256 of the file in a place, `UNREADABLE` where it cannot be read; None where nothing is there."""
    try:
        with regular_files.opened(place, "model_bytes") as stream:
            return file_digest(stream, "sha256").hexdigest()
    except regular_files.Unreadable as error:
        return None if isinstance(error.__cause__, FileNotFoundError | NotADirectoryError) else UNREADABLE
    except OSError:
        return UNREADABLE


def is_leftover(name: str) -> bool:
    """Whether a file of this name is one that an exchange makes for itself."""
    return name == LOCK or _PART.fullmatch(name) is not None


def has_leftovers(folder: Path) -> bool:
    """Whether a folder holds what a killed or a running exchange left, its lock too."""
    return bool(_leftovers(folder)) or os.path.lexists(folder / LOCK)


def remove_leftovers(folders: Iterable[Path]) -> None:
    """Removes what killed exchanges left in folders. Only for whoever holds the lock of the output folder."""
    for part in (part for folder in folders for part in _leftovers(folder)):
        with suppress(OSError):
            part.unlink()


def _leftovers(folder: Path) -> list[Path]:
    try:
        with os.scandir(folder) as entries:
            return [Path(entry.path) for entry in entries if _PART.fullmatch(entry.name) and not entry.is_dir()]
    except (OSError, ValueError):
        return []


def exchange(folder: Path, contents: Mapping[Path, bytes]) -> None:
    """Puts files with new contents in their places below `folder`, in order. Raises ExchangeError."""
    _Exchange(folder, contents).run()


@dataclass(eq=False)
class _Exchange:
    """`at` is the place that is being worked on; the other fields say what was done, to be gone back on."""

    folder: Path
    contents: Mapping[Path, bytes]
    staged: dict[Path, Path] = field(default_factory=dict)
    kept: dict[Path, Path] = field(default_factory=dict)
    replaced: list[Path] = field(default_factory=list)
    made: list[Path] = field(default_factory=list)
    at: Path = Path()

    def run(self) -> None:
        """All of it, or as before; an interruption by the user is gone back on too."""
        before = {place: digest_of_place(place) for place in self.contents}
        try:
            self._steps()
        except BaseException as error:
            self._put_back()
            self._remove_folders()
            if not isinstance(error, OSError):
                raise
            standing = {one: self._standing(one, before[one]) for one in self.contents}
            raise ExchangeError(self.at, error.strerror or str(error), standing) from None
        finally:
            for part in (*self.staged.values(), *self.kept.values()):
                with suppress(OSError):
                    part.unlink(missing_ok=True)

    def _steps(self) -> None:
        for place, content in self.contents.items():
            self.at = place
            self._make_folder(place.parent)
            self._stage(place, content)
        for place in self.contents:
            self.at = place
            self._keep(place)
        for place in self.contents:
            self.at = place
            self.replaced.append(place)
            self.staged[place].replace(place)

    def _make_folder(self, folder: Path) -> None:
        missing = []
        while folder != self.folder and not folder.is_dir():
            missing.append(folder)
            folder = folder.parent
        for each in reversed(missing):
            with suppress(FileExistsError):
                each.mkdir()
                self.made.append(each)

    def _beside(self, place: Path) -> Path:
        """A new name that can be renamed to a place: in the output folder, where one look finds what was left over."""
        same_disk = place.parent.stat().st_dev == self.folder.stat().st_dev
        return (self.folder if same_disk else place.parent) / f".plica-{secrets.token_hex(8)}.part"

    def _stage(self, place: Path, content: bytes) -> None:
        part = self.staged[place] = self._beside(place)
        with part.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())

    def _keep(self, place: Path) -> None:
        """The old file under a second name: a link, or a copy where the file system has none."""
        if not os.path.lexists(place):
            return
        part = self.kept[place] = self._beside(place)
        try:
            os.link(place, part, follow_symlinks=False)
        except (OSError, NotImplementedError):
            shutil.copy2(place, part, follow_symlinks=False)

    def _put_back(self) -> None:
        for place in reversed(self.replaced):
            with suppress(OSError):
                if place in self.kept:
                    self.kept[place].replace(place)
                elif not self.staged[place].exists():
                    place.unlink(missing_ok=True)

    def _remove_folders(self) -> None:
        for folder in reversed(self.made):
            with suppress(OSError):
                folder.rmdir()

    def _standing(self, place: Path, before: str | None) -> Standing:
        now = digest_of_place(place)
        if now == UNREADABLE:
            return Standing.UNKNOWN
        if now == before:
            return Standing.BEFORE
        if now is None:
            return Standing.MISSING
        return Standing.NEW if now == digest(self.contents[place]) else Standing.OTHER
