"""The other files that a model or a clip is made of: a glTF document's buffers, an OpenUSD file's layers."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from plica.readers.gltf_document import addresses, place_of_uri, read_document
from plica.readers.model import GLTF_ENDINGS, USD_ENDINGS
from plica.readers.outline import UnreadableModel


def companions(path: Path) -> tuple[Path, ...]:
    """The files that reading a file reads besides it, and those that it misses; none where it cannot be read.

    All lie in or below the file's folder: what names another place is refused when the file is read.
    """
    try:
        if path.suffix.lower() in USD_ENDINGS:
            from plica.readers.usd_layers import layers_of

            layers = layers_of(path)
            inside = [file for file in layers.missing if file.is_relative_to(path.resolve().parent)]
            return tuple(file for file in (*layers.files, *inside) if file != path.resolve())
        if path.suffix.lower() not in GLTF_ENDINGS:
            return ()
        found: dict[Path, None] = {}
        for address in addresses(read_document(path)):
            with suppress(UnreadableModel):
                found[place_of_uri(address, path.parent)] = None
        return tuple(found)
    except UnreadableModel:
        return ()
