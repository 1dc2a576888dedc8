"""Files of a git revision, put down in a folder of their own as compiling asks for them."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from os.path import normpath
from pathlib import Path, PurePosixPath
from typing import NamedTuple

from plica.diff.git_commands import NoRevision, git, output
from plica.file_names import folded, problem_of
from plica.readers.companions import companions
from plica.workspace import Refused, Workspace

INDEX = ":"  # in place of a revision: what is to be committed next
_LINK = "120000"  # git's mode of a symbolic link
_MOST_LINKS = 8  # followed one after the other


class _Blob(NamedTuple):
    mode: str
    name: str


class Revision:
    """The files of one revision, or of the index.

    `repository` is a folder in the working tree, `mirror` an empty folder to put files down in, laid out like the
    repository. Files come as a checkout would give them, filters applied. What a commit calls its files is only
    believed as far as `plica.file_names` goes, so that nothing is put down outside the mirror.
    """

    def __init__(self, repository: Path, revision: str, mirror: Path) -> None:
        self._repository = repository
        self.mirror = mirror.resolve()
        if not revision or revision.startswith("-") or "\0" in revision or "\n" in revision:
            raise NoRevision("this is not the name of a revision")
        self.top = Path(os.fsdecode(git(repository, "rev-parse", "--show-toplevel")).rstrip("\n")).resolve()
        self._written: dict[str, str] = {}
        self._blobs: dict[str, _Blob] = {}
        self._unusable: dict[str, str] = {}
        for path, blob in _listed(_listing(repository, self.top, revision)):
            problem = problem_of(path)
            if problem is None:
                self._blobs[path] = blob
            else:
                self._unusable[path] = problem

    def files_below(self, folder: str) -> list[str]:
        """The paths of all files in a folder of the repository (`.` for the top), sorted."""
        start = "" if folder in ("", ".") else f"{folder}/"
        return sorted(path for path in self._blobs if path.startswith(start))

    def unusable_below(self, folder: str) -> dict[str, str]:
        """The paths in a folder that no file may have here, and why: a commit can hold any name."""
        start = "" if folder in ("", ".") else f"{folder}/"
        return {path: problem for path, problem in self._unusable.items() if path.startswith(start)}

    def holds(self, path: str) -> bool:
        """Whether the revision has this file."""
        return path in self._blobs

    def fetch(self, path: str) -> Path | None:
        """The file, put down in the mirror; None where the revision has none of this path. Raises NoRevision.

        The files that a model is made of come too, as far as the revision has them.
        """
        place = self._put_down(path)
        tried = {path}
        wanted = [path] if place is not None else []
        while place is not None and wanted:
            names = (file.relative_to(self.mirror).as_posix() for file in companions(place))
            wanted = [name for name in dict.fromkeys(names) if name not in tried]
            for name in wanted:
                self._put_down(name)
            tried.update(wanted)
        return place

    def _put_down(self, path: str) -> Path | None:
        followed = self._followed(path)
        if followed is None:
            return None
        place = self.mirror / path
        known = self._written.setdefault(folded(path), path)
        if known != path:
            raise NoRevision(f"its files `{path}` and `{known}` are one file on some systems")
        if place.exists():
            return place
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            self._write(place, *followed)
        except OSError as error:
            raise NoRevision(f"its `{path}` cannot be put down: {error.strerror or error}") from error
        return place

    def _write(self, place: Path, path: str, blob: _Blob) -> None:
        """Write the file whole or not at all."""
        # By the object's own name: a path could mean something else in the name of a revision.
        wanted = ("cat-file", "--filters", f"--path={path}", blob.name)
        try:
            with place.open("xb") as file, output(self._repository, "model_bytes", *wanted) as blocks:
                file.writelines(blocks)
        except BaseException:
            place.unlink(missing_ok=True)
            raise

    def _followed(self, path: str) -> tuple[str, _Blob] | None:
        """The path and the object of a file, links followed within the revision."""
        for _ in range(_MOST_LINKS):
            blob = self._blobs.get(path)
            if blob is None:
                return None
            if blob.mode != _LINK:
                return path, blob
            target = git(self._repository, "cat-file", "blob", blob.name).decode("utf-8", "replace")
            path = normpath(PurePosixPath(path).parent / target)
        return None


class RevisionWorkspace(Workspace):
    """The folder of a spec in a revision; `allowed` are folders of the repository's working tree."""

    def __init__(self, revision: Revision, folder: str, allowed: Sequence[Path] = ()) -> None:
        self._revision = revision
        inside = [path.resolve() for path in allowed]
        mirrored = [
            revision.mirror / path.relative_to(revision.top) for path in inside if path.is_relative_to(revision.top)
        ]
        super().__init__(revision.mirror / folder, mirrored)

    def locate(self, text: str, beside: Path | None = None) -> Path | Refused:
        """The file that a spec names, fetched from the revision."""
        mirror = self._revision.mirror
        wanted = Path(normpath((beside or self.root) / text.replace("\\", "/")))
        if wanted.is_relative_to(mirror) and "\0" not in text:
            try:
                self._revision.fetch(wanted.relative_to(mirror).as_posix())
            except NoRevision as problem:
                return Refused("missing-file", {"file": text, "reason": str(problem)})
        return super().locate(text, beside)


def split_revision(given: str) -> tuple[str, str | None]:
    """Revision and path of `git:REV:PATH`; no path for `git:REV`. Colons in braces belong to the revision."""
    match = re.match(r"git:((?:\{[^}]*\}|[^:{])*)(?::(.*))?$", given, re.DOTALL)
    if match is None:
        return given.removeprefix("git:"), None
    return match[1], match[2] or None


def _listing(repository: Path, top: Path, revision: str) -> bytes:
    """What git lists of all files."""
    if revision == INDEX:
        return git(top, "ls-files", "--stage", "-z")
    try:
        tree = git(repository, "rev-parse", "--verify", "--quiet", f"{revision}^{{tree}}").decode().strip()
    except NoRevision:
        raise NoRevision(f"there is no revision `{revision}`") from None
    return git(repository, "ls-tree", "-r", "-z", "--full-tree", tree)


def _listed(listing: bytes) -> Iterator[tuple[str, _Blob]]:
    """Paths and blobs of `git ls-tree -r -z` (`MODE TYPE NAME`, a tab, the path) or `git ls-files --stage -z` (`MODE
    NAME STAGE`, a tab, the path; what is not merged has no stage 0).
    """
    start = 0
    while (end := listing.find(b"\0", start)) >= 0:
        line, start = listing[start:end], end + 1
        head, tab, path = line.partition(b"\t")
        if tab:
            mode, kind, name = head.decode("ascii").split()
            if name == "0":
                kind, name = "blob", kind
            if kind == "blob":
                yield path.decode("utf-8", "surrogateescape"), _Blob(mode, name)
