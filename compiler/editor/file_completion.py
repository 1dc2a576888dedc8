"""Names of files that could stand in the quotes at the cursor: those in the spec's folder that fit the fact."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from plica.readers.model_reader import GLTF_ENDINGS, USD_ENDINGS

MOST_FILES = 400
DEEPEST = 6  # folders below the one where the looking begins

_MODELS = (*GLTF_ENDINGS, *USD_ENDINGS)
_IMAGES = (".png", ".tif", ".tiff", ".jpg", ".jpeg", ".tga", ".bmp", ".webp")
# The endings of the files that a text after these words names.
ENDINGS = {
    "geometry": _MODELS,
    "use": (".plica",),
    "sculpt": (".npz", ".obj", *_MODELS),
    "inbetween": (".npz", ".obj", *_MODELS),
    "painted": _IMAGES,
    "vertices": (".npz",),
    "relaxed": _IMAGES,
    "contracted": _IMAGES,
    "clip": (*GLTF_ENDINGS, ".bvh"),
    "photo": (*_IMAGES, ".gif"),
}
# The word, perhaps a number, and the quote that is open at the cursor.
_OPEN = re.compile(r'(?:^|[\s{,])(weight[ \t]+of|\w+)[ \t]+(?:[-+.\d]+[ \t]+)?"([^"\\\n]*)$')


# The words after which a text names no file but a uv set or a morph target of the model.
UV_SETS = "uv"
SHAPED_MORPHS = "morph"
READ_MORPHS = "weight of"


class OpenText(NamedTuple):
    """An unfinished text in quotes: the word before it, and where what is written of it begins."""

    word: str
    start: int


def open_text(line: str, line_start: int) -> OpenText | None:
    """The text in quotes that the end of a line stands in, where its word asks for a file or what the model holds."""
    if line.count('"') % 2 == 0:
        return None
    match = _OPEN.search(line)
    word = "" if match is None else " ".join(match[1].split())
    if match is None or word not in {*ENDINGS, UV_SETS, SHAPED_MORPHS, READ_MORPHS}:
        return None
    return OpenText(word, line_start + match.start(2))


def fitting(word: str, folder: Path) -> list[str]:
    """Files in and below a folder that a word may name, from that folder on, sorted; hidden ones are left out."""
    endings = ENDINGS[word]
    result = []
    for path in _walk(folder, DEEPEST):
        if path.lower().endswith(endings):
            result.append(path)
            if len(result) == MOST_FILES:
                break
    return sorted(result)


def _walk(folder: Path, depth: int, before: str = "") -> Iterator[str]:
    try:
        with os.scandir(folder) as entries:
            listed = sorted(entries, key=lambda entry: entry.name)
    except OSError:
        return
    for entry in listed:
        if entry.name.startswith("."):
            continue
        if entry.is_file():
            yield before + entry.name
    for entry in listed:
        if depth and not entry.name.startswith(".") and entry.is_dir(follow_symlinks=False):
            yield from _walk(folder / entry.name, depth - 1, f"{before}{entry.name}/")
