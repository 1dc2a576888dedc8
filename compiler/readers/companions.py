"""The other files that a model or a clip is made of: a glTF document's buffers, an OpenUSD file's layers."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from plica.readers.gltf_document import addresses, place_of_uri, read_document
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import GLTF_ENDINGS, USD_ENDINGS


def companions(path: Path) -> tuple[Path, ...]:
    """The files that reading a file reads besides it, and those that it misses; none where it cannot be read.

    All lie in or below the file's folder: what names another place is refused when the file is read.
    """
    try:
        if path.suffix.lower() in USD_ENDINGS:
            from plica.readers.usd_reader import files_of_stage

            folders = (path.absolute().parent, path.resolve().parent)
            result = [file for file in files_of_stage(path) if any(file.is_relative_to(folder) for folder in folders)]
            return tuple(file for file in result if file not in (path.absolute(), path.resolve()))
        if path.suffix.lower() not in GLTF_ENDINGS:
            return ()
        buffers: dict[Path, None] = {}
        for address in addresses(read_document(path)):
            with suppress(UnreadableModel):
                buffers[place_of_uri(address, path.parent)] = None
        return tuple(buffers)
    except UnreadableModel:
        return ()
