"""Which states of a repository an external diff compares, as far as that can be told.

git names the objects of both texts; a text of the working tree that it has not stored has a name of zeros. A state is
one in which the file has that very text. Where several have it, the order is the one in which they are usually
compared: the index before HEAD for the old text, HEAD before the index for the new one, then the latest commit
with that text. So `git diff`, `git diff --cached`, `git diff HEAD` and a diff of two commits in which the text differs
are told apart; of commits with the same text the latest one is taken.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from plica.diff.git_commands import NoRevision, git
from plica.diff.revision import INDEX

MOST_COMMITS = 2000  # that are looked through for a text
_SHORT = 10  # digits by which a commit is named
_NONE = "."  # git's name for the object of a file that is not there


class GitFile(NamedTuple):
    """One side of what git compares: the path in the repository, the name of the object, where the text lies now."""

    path: str
    blob: str
    content: Path

    @property
    def is_there(self) -> bool:
        """Whether the side has the file."""
        return self.blob != _NONE

    @property
    def is_stored(self) -> bool:
        """Whether git has the text as an object."""
        return self.is_there and self.blob.strip("0") != ""


class State(NamedTuple):
    """A state of the repository: `revision` is None for the working tree."""

    label: str
    revision: str | None


TREE = State("the working tree", None)
_INDEX = State("the index", INDEX)
_HEAD = State("HEAD", "HEAD")


def states(old: GitFile, new: GitFile, repository: Path) -> tuple[State, State]:
    """The old and the new state; the working tree where no other has the text."""
    try:
        if old.is_there and not old.is_stored:  # compared the other way round
            return _states(new, old, repository)[::-1]
        return _states(old, new, repository)
    except NoRevision:
        return TREE, TREE


def _states(old: GitFile, new: GitFile, repository: Path) -> tuple[State, State]:
    in_head = [_blob(repository, "HEAD:", file.path) for file in (old, new)]
    in_index = [_blob(repository, ":0:", file.path) for file in (old, new)]
    # A file that is not there has no object, and is not there in the state either.
    wanted = [file.blob if file.is_there else None for file in (old, new)]
    if new.is_there and not new.is_stored:
        if wanted[0] == in_index[0]:
            return _INDEX, TREE
        return (_HEAD if wanted[0] == in_head[0] else _commit(repository, old)), TREE
    if wanted == [in_head[0], in_index[1]] and in_head[0] != in_index[0]:
        return _HEAD, _INDEX
    if wanted == [in_index[0], in_head[1]] and in_head[0] != in_index[0]:
        return _INDEX, _HEAD
    if not new.is_there and wanted[0] == in_index[0]:
        return _INDEX, TREE
    return _commit(repository, old), (_HEAD if wanted[1] == in_head[1] else _commit(repository, new))


def _blob(repository: Path, state: str, path: str) -> str | None:
    try:
        return git(repository, "rev-parse", "--verify", "--quiet", f"{state}{path}").decode("ascii").strip()
    except NoRevision:
        return None


def _commit(repository: Path, file: GitFile) -> State:
    """The latest commit in which the file has this text."""
    if not file.is_stored:
        return TREE
    shape = ("--format=%H", "--raw", "--no-abbrev", "--no-renames", "--no-color", "-n", str(MOST_COMMITS))
    commit = ""
    log = git(repository, "log", "--all", *shape, "--", f":(top,literal){file.path}")
    for line in log.decode("utf-8", "replace").splitlines():
        if not line.startswith(":"):
            commit = line or commit
            continue
        before, after = line.split()[2:4]
        if after == file.blob:
            return State(f"commit {commit[:_SHORT]}", commit)
        if before == file.blob:
            return State(f"the commit before {commit[:_SHORT]}", f"{commit}^")
    return State("the working tree (no commit with this text was found)", None)
