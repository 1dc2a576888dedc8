"""Which specs may use a library, directly or through other libraries: told by their texts, before anything is compiled.

What the naming of files leaves open (a `use` with a placeholder in its path) counts as a use of everything.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from plica.api.found_project import FoundProject
from plica.workspace import Refused, Workspace

MOST_READ = 4_000  # specs on disk that are read to find those that use a library
_USE = re.compile(r'(?<!\w)use\s+"([^"\n]*)"')


class Candidates(NamedTuple):
    """Texts by path, and whether there were more than are read."""

    texts: dict[Path, str]
    are_all: bool


def candidates(library: Path, project: FoundProject, folders: Iterable[Path]) -> Candidates:
    """The specs that could use a library: of its project, of its folder and the one above, of the editor's folders."""
    texts: dict[Path, str] = {}
    for path in _paths(library, project, folders):
        if path in texts:
            continue
        if len(texts) == MOST_READ:
            return Candidates(texts, False)
        text = Workspace(path.parent).read_text(path, path.name)
        if not isinstance(text, Refused):
            texts[path] = text
    return Candidates(texts, True)


def _paths(library: Path, project: FoundProject, folders: Iterable[Path]) -> Iterator[Path]:
    members, _ = project.members()
    if members is not None:
        yield from (path.resolve() for path in members.specs)
    for folder in library.parents[:2]:
        yield from (path.resolve() for path in sorted(folder.glob("*.plica")))
    for folder in folders:
        yield from (path.resolve() for path in sorted(folder.rglob("*.plica")))


def may_use(library: Path, texts: dict[Path, str]) -> list[Path]:
    """The paths of the texts that may use a library, in order; the library itself is none of them."""
    named = {path: {_last(match[1]) for match in _USE.finditer(text)} for path, text in texts.items()}
    found: dict[Path, None] = {}
    wanted = {library.name}
    while True:
        more = [path for path, names in named.items() if path not in found and (None in names or wanted & names)]
        if not more:
            return [path for path in texts if path in found and path != library]
        found.update(dict.fromkeys(more))
        wanted |= {path.name for path in more}


def _last(path: str) -> str | None:
    """The file's name in a path as a `use` writes it; None where a placeholder stands in it."""
    return None if "{" in path else path.replace("\\", "/").rpartition("/")[2]
