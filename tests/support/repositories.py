"""Git repositories for tests, among them such as no honest client makes."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path
from socket import AF_UNIX, socket

# Nothing of the machine's own settings takes part.
_SETTINGS = ("-c", "user.name=Wren", "-c", "user.email=wren@example.org", "-c", "commit.gpgsign=false")

Tree = Mapping[str, "Tree | bytes | str"]
"""Files as bytes, links as texts, folders as trees, by any name at all."""


def git(*words: str, sent: bytes = b"") -> str:
    """What git says in the current folder."""
    return subprocess.run(["git", *_SETTINGS, *words], input=sent, check=True, capture_output=True).stdout.decode()


def committed(tree: Tree) -> str:
    """The name of a commit that holds exactly this tree, made in the repository of the current folder."""
    return git("commit-tree", "-m", "hostile", _written(tree)).strip()


def nested(levels: int, width: int, content: bytes) -> str:
    """The name of a commit of `width` to the power of `levels` files, made of as many objects as there are levels."""
    name, mode = git("hash-object", "-w", "--stdin", sent=content).strip(), "100644"
    for _ in range(levels):
        name, mode = _tree([(mode, f"{number}.plica", name) for number in range(width)]), "40000"
    return git("commit-tree", "-m", "hostile", name).strip()


def _written(tree: Tree) -> str:
    entries = []
    for name, content in tree.items():
        if isinstance(content, bytes | str):
            mode = "100644" if isinstance(content, bytes) else "120000"
            data = content if isinstance(content, bytes) else content.encode()
            entries.append((mode, name, git("hash-object", "-w", "--stdin", sent=data).strip()))
        else:
            entries.append(("40000", name, _written(content)))
    return _tree(entries)


def _tree(entries: Sequence[tuple[str, str, str]]) -> str:
    """A tree object as its bytes are, which no check of git looks at (gitformat-pack, git-hash-object --literally)."""
    ordered = sorted(entries, key=lambda entry: entry[1])  # else git does not find them
    data = b"".join(f"{mode} {name}".encode() + b"\0" + bytes.fromhex(blob) for mode, name, blob in ordered)
    return git("hash-object", "-t", "tree", "-w", "--literally", "--stdin", sent=data).strip()


def no_file(kind: str, place: Path) -> Path:
    """A place that is no file on a disk: `pipe`, `socket`, `device` or `folder`; reading it may never end."""
    if kind == "pipe":
        os.mkfifo(place)
    elif kind == "socket":
        with closing(socket(AF_UNIX)) as listening:
            listening.bind(str(place))
    elif kind == "device":
        place.symlink_to("/dev/zero")
    else:
        place.mkdir()
    return place
