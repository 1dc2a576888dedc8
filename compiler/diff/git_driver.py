"""What `git diff` shows for a spec: what the change does, where both states compile, else the lines that differ.

git gives both states of one file. What the spec uses (libraries, the model) is taken from the working tree for both;
`plica diff git:REVISION SPEC` takes everything from the revision.
"""

from __future__ import annotations

from collections.abc import Sequence
from difflib import unified_diff
from pathlib import Path
from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.diagnostics.place import printable
from plica.diff.report import compare
from plica.diff.text import render
from plica.diff.versions import ONE, Options, version_of_text
from plica.workspace import Refused, Workspace


class GitFiles(NamedTuple):
    """The path in the working tree (the new one of a renamed file), and where both states lie now."""

    path: str
    old: Path
    new: Path


def shown(files: GitFiles, allowed: Sequence[Path] = (), colour: bool = False) -> str:
    """The text for git to show."""
    workspace = Workspace(Path(files.path).parent, allowed)
    texts = [_text(place, workspace) for place in (files.old, files.new)]
    head = f"plica diff {printable(files.path)}\n"
    found = Diagnostics()
    versions = []
    for text in texts:
        version = version_of_text(text, files.path, workspace, Options(allowed), found) if text else None
        versions.append({} if version is None else {ONE: version})
    if found.has_errors or not any(versions) or any(bool(t) != bool(v) for t, v in zip(texts, versions, strict=True)):
        return head + _lines(texts[0], texts[1], files.path)
    return head + render(compare(versions[0], versions[1]), colour=colour)


def _text(place: Path, workspace: Workspace) -> str:
    """A state of the file; nothing where there is none, which git says by naming the null device."""
    text = workspace.read_text(place, place.name)
    return "" if isinstance(text, Refused) else text


def _lines(old: str, new: str, path: str) -> str:
    lines = unified_diff(old.splitlines(), new.splitlines(), f"a/{path}", f"b/{path}", lineterm="")
    return printable("".join(f"{line}\n" for line in lines))
