"""Files of a git revision, put down in a folder of their own as compiling asks for them."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Mapping, Sequence
from os.path import normpath
from pathlib import Path, PurePosixPath
from typing import NamedTuple
from urllib.parse import unquote

from plica.workspace import Refused, Workspace

INDEX = ":"  # in place of a revision: what is to be committed next
_LINK = "120000"  # git's mode of a symbolic link
_MOST_LINKS = 8  # followed one after the other


class NoRevision(Exception):  # noqa: N818 - it names a state of things, not a fault of ours
    """A revision or a path in it that git does not have; the message says why, in the user's words."""


class _Blob(NamedTuple):
    mode: str
    name: str


class Revision:
    """The files of one revision, or of the index.

    `repository` is a folder in the working tree, `mirror` an empty folder to put files down in, laid out like the
    repository. Files come as a checkout would give them, filters applied. Of a glTF model the buffers come too.
    """

    def __init__(self, repository: Path, revision: str, mirror: Path) -> None:
        self._repository = repository
        self.mirror = mirror.resolve()
        if not revision or revision.startswith("-") or "\0" in revision or "\n" in revision:
            raise NoRevision("this is not the name of a revision")
        self.top = Path(git(repository, "rev-parse", "--show-toplevel").decode().rstrip("\n")).resolve()
        self._tree, listed = _listing(repository, self.top, revision)
        self._blobs = dict(_listed(listed))

    def files_below(self, folder: str) -> list[str]:
        """The paths of all files in a folder of the repository (`.` for the top), sorted."""
        start = "" if folder in ("", ".") else f"{folder}/"
        return sorted(path for path in self._blobs if path.startswith(start))

    def holds(self, path: str) -> bool:
        """Whether the revision has this file."""
        return path in self._blobs

    def fetch(self, path: str) -> Path | None:
        """The file, put down in the mirror; None where the revision has none of this path."""
        place = self.mirror / path
        if place.exists():
            return place if place.is_file() else None
        content = self._content(path)
        if content is None:
            return None
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content)
        if path.lower().endswith(".gltf"):
            for uri in _buffers(content):
                inside = normpath(PurePosixPath(path).parent / uri)
                if self.holds(inside):
                    self.fetch(inside)
        return place

    def _content(self, path: str) -> bytes | None:
        for _ in range(_MOST_LINKS):
            blob = self._blobs.get(path)
            if blob is None:
                return None
            if blob.mode != _LINK:
                return git(self._repository, "cat-file", "--filters", f"{self._tree}:{path}")
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
            self._revision.fetch(wanted.relative_to(mirror).as_posix())
        return super().locate(text, beside)


def split_revision(given: str) -> tuple[str, str | None]:
    """Revision and path of `git:REV:PATH`; no path for `git:REV`. Colons in braces belong to the revision."""
    match = re.match(r"git:((?:\{[^}]*\}|[^:{])*)(?::(.*))?$", given, re.DOTALL)
    if match is None:
        return given.removeprefix("git:"), None
    return match[1], match[2] or None


def _listing(repository: Path, top: Path, revision: str) -> tuple[str, bytes]:
    """What stands before `:PATH` in the name of a file's object, and the list of all files."""
    if revision == INDEX:
        return "", git(top, "ls-files", "--stage", "-z")
    try:
        tree = git(repository, "rev-parse", "--verify", "--quiet", f"{revision}^{{tree}}").decode().strip()
    except NoRevision:
        raise NoRevision(f"there is no revision `{revision}`") from None
    return tree, git(repository, "ls-tree", "-r", "-z", "--full-tree", tree)


def _listed(output: bytes) -> list[tuple[str, _Blob]]:
    """Paths and blobs of `git ls-tree -r -z` (`MODE TYPE NAME`, a tab, the path) or `git ls-files --stage -z` (`MODE
    NAME STAGE`, a tab, the path; what is not merged has no stage 0).
    """
    found = []
    for line in output.split(b"\0"):
        head, tab, path = line.partition(b"\t")
        if tab:
            mode, kind, name = head.decode("ascii").split()
            if name == "0":
                kind, name = "blob", kind
            if kind == "blob":
                found.append((path.decode("utf-8", "surrogateescape"), _Blob(mode, name)))
    return found


def _buffers(content: bytes) -> list[str]:
    """The relative URIs of a glTF document's buffers; none where it is no glTF, which its reader reports."""
    try:
        document: Mapping[str, object] = json.loads(content)
        buffers = document.get("buffers", [])
        uris = [buffer.get("uri") for buffer in buffers] if isinstance(buffers, list) else []
    except (ValueError, AttributeError, RecursionError):
        return []
    return [unquote(uri) for uri in uris if isinstance(uri, str) and uri[:5].lower() != "data:"]


def git(folder: Path, *arguments: str) -> bytes:
    """What a git command writes. Raises NoRevision where there is no git, no repository, or no such thing in it."""
    try:
        done = subprocess.run(["git", "-C", str(folder), *arguments], capture_output=True, check=False)
    except OSError:
        raise NoRevision("git is not installed") from None
    if done.returncode != 0:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise NoRevision(said[0].removeprefix("fatal: ") if said else "git knows of no such thing")
    return done.stdout
