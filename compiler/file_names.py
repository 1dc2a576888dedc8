"""Which names of files may touch a disk: the one rule for every name that comes out of data, whoever wrote it.

A spec, a model, a commit and a target all name files. What they name is read or written on many systems, so a name
counts only where it means the same file on each of them, and never another place: what one system takes for a part of
a name is a drive, a device, a stream or the folder above on another. The rule is the union of POSIX.1-2017 (3.170
Filename, 4.13 Pathname Resolution), the naming conventions of Win32 file systems as `ntpath.isreserved` of Python
3.13 states them, and the names that git refuses to check out (`.git` in any spelling; git-check-ref-format and
core.protectNTFS of git-config).
"""

from __future__ import annotations

import re
import unicodedata
from posixpath import normpath

# Besides control characters and halves of surrogate pairs; `:` also parts drives and streams from names.
_FORBIDDEN = re.compile(r'[<>:"|?*\\\x00-\x1f\x7f-\x9f\ud800-\udfff]')
# With any ending, or none.
_DEVICE = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[1-9¹²³]) *(\.|$)", re.IGNORECASE)
_REPOSITORIES = frozenset((".git", "git~1"))  # the second is the short name of the first


def problem_of(name: str) -> str | None:
    """Why a relative name, its steps parted by `/`, may not be that of a file; None where it may."""
    if not name or name.startswith("/"):
        return "it is not relative to its folder"
    for step in name.split("/"):
        if (problem := problem_of_step(step)) is not None:
            return problem
    return None


def problem_of_step(step: str) -> str | None:
    """Why one step of a name may not be that of a file or a folder; None where it may."""
    if step in ("", ".", ".."):
        return "it holds an empty step, `.` or `..`"
    if _FORBIDDEN.search(step):
        return "it holds a character that not every system takes in file names"
    if step[-1] in ". ":
        return "a step of it ends in a point or a blank"
    if _DEVICE.match(step):
        return "a step of it is the name of a device on some systems"
    if _visible(step) in _REPOSITORIES:
        return "a step of it is the folder in which git keeps a repository"
    return None


def normalised(name: str) -> str:
    """A relative name without empty steps, `.`, and `..` after a step; one that climbs out keeps its `..`."""
    return normpath(name) if name else name


def folded(name: str) -> str:
    """The same text for all names that some systems take for one: of other capitals, or composed in another way."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def _visible(step: str) -> str:
    """A step as systems that overlook invisible characters take it."""
    if step.isascii():
        return step.lower()
    return "".join(letter for letter in step if unicodedata.category(letter) != "Cf").casefold()
