"""Parts of a text that an editor treats as one: what folds away, names of files that open them."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from plica.editor.file_completion import ENDINGS
from plica.editor.open_documents import Analysis
from plica.syntax import nodes

_FILE = re.compile(rf'(?<![\w-])({"|".join(ENDINGS)})\s+(?:[-+.\d]+\s+)?"([^"\\\n{{]*)"')


class Passage(NamedTuple):
    """A stretch of a text by offsets; `is_comment`: several lines of comments, else a declaration."""

    start: int
    end: int
    is_comment: bool


class FileLink(NamedTuple):
    """A name of a file between quotes, by offsets, and the file."""

    start: int
    end: int
    file: Path


def passages(document: nodes.Document) -> list[Passage]:
    """What takes more than one line: declarations, those of families inside them, and comments."""
    text = document.source.text
    found = [*_declarations(document.declarations), *_comments(document)]
    return sorted(one for one in found if "\n" in text[one.start : one.end])


def _declarations(declarations: tuple[nodes.Declaration, ...]) -> Iterator[Passage]:
    for node in declarations:
        yield Passage(node.start, node.end, False)
        if isinstance(node, nodes.Each):
            yield from _declarations(node.declarations)


def _comments(document: nodes.Document) -> Iterator[Passage]:
    """Comments on lines that follow each other, as one."""
    text, run = document.source.text, None
    for comment in document.comments:
        begins_line = not text[text.rfind("\n", 0, comment.start) + 1 : comment.start].strip()
        if run is not None and begins_line and not text[run.end : comment.start].replace("\n", "", 1).strip(" \t\r"):
            run = run._replace(end=comment.end)
            continue
        if run is not None:
            yield run
        run = Passage(comment.start, comment.end, True) if begins_line else None
    if run is not None:
        yield run


def file_links(own: Analysis, around: Analysis) -> list[FileLink]:
    """The names of files that exist; a library is found from its own text, other files from the spec's."""
    result = []
    for match in _FILE.finditer(own.source.text):
        folder = own.folder if match[1] == "use" else around.folder
        if folder is None or not match[2] or _in_comment(own.document, match.start()):
            continue
        file = folder / match[2].replace("\\", "/")
        if match[2].lower().endswith(ENDINGS[match[1]]) and _is_file(file):
            result.append(FileLink(match.start(2), match.end(2), file))
    return result


def _is_file(path: Path) -> bool:
    from plica import regular_files

    try:
        return regular_files.is_file(path)
    except (OSError, ValueError):
        return False


def _in_comment(document: nodes.Document, offset: int) -> bool:
    before = bisect_right(document.comments, offset, key=lambda comment: comment.start)
    return before > 0 and offset < document.comments[before - 1].end
