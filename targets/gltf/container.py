"""A glTF 2.0 file taken apart and put together again around its JSON (sections 2 to 4).

What is not changed stays as it was: buffers, chunks that Plica does not know, and JSON members keep their contents and
their order. New data go behind the binary chunk of a container, else into a buffer of their own.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple

from plica.readers.gltf_document import (
    BINARY_CHUNK,
    CHUNK_HEADER,
    HEADER,
    JSON_CHUNK,
    MAGIC,
    content,
    is_data,
    named_file,
    place_of_uri,
    read_document,
)
from plica.readers.json_fields import objects, text
from plica.readers.model_outline import UnreadableModel
from plica.rig.rig_json import encoded
from plica.targets.gltf.additions import Additions

LARGEST_CONTAINER: Final = 2**32 - 1
"""What the length in a container's header can say (section 4.4.2)."""

Document = dict[str, Any]


class SourceModel(NamedTuple):
    """A file's JSON, which whoever read it may change; its binary chunk, and the chunks behind it, by kind.

    `folder`: where the files lie that it names; `is_container`: whether it is a `.glb`.
    """

    document: Document
    folder: Path
    binary: bytes | None = None
    further: tuple[tuple[int, bytes], ...] = ()
    is_container: bool = True

    @property
    def appended_buffer(self) -> int | None:
        """The buffer behind whose data new ones go: the binary chunk's; None where a new buffer has to be made."""
        buffers = self.document.get("buffers", [])
        if not self.is_container:
            return None
        if not buffers or (self.binary is not None and "uri" not in buffers[0]):
            return 0
        return None

    @property
    def new_buffer(self) -> int:
        """The number of the buffer that new data go into."""
        appended = self.appended_buffer
        return len(self.document.get("buffers", [])) if appended is None else appended


def read_source(path: Path) -> SourceModel:
    """A file in its parts. Raises UnreadableModel."""
    document = dict(read_document(path))
    data = content(path)
    if not data.startswith(MAGIC):
        return SourceModel(document, path.parent, is_container=False)
    chunks = list(_chunks(data))[1:]
    binary = next((held for kind, held in chunks[:1] if kind == BINARY_CHUNK), None)
    return SourceModel(document, path.parent, binary, tuple(chunks if binary is None else chunks[1:]))


def _chunks(data: bytes) -> Iterator[tuple[int, bytes]]:
    """The chunks of a container, whose sizes are known to be right."""
    _, _, total = HEADER.unpack_from(data)
    offset = HEADER.size
    while offset + CHUNK_HEADER.size <= total:
        size, kind = CHUNK_HEADER.unpack_from(data, offset)
        offset += CHUNK_HEADER.size
        yield kind, data[offset : offset + size]
        offset += size


def files_of(model: SourceModel, additions: Additions, name: str) -> dict[str, bytes]:
    """The model's file, called `name` and an ending, and the file of its new data, if there is one.

    Raises UnreadableModel where it would be larger than a container can be.
    """
    document, appended = model.document, model.appended_buffer
    if appended is None:
        result = _with_buffer(document, additions.joined(0), f"{name}.bin")
        binary = model.binary
    else:
        buffers = document.get("buffers", [])
        before = b"" if model.binary is None else model.binary[: buffers[0]["byteLength"] if buffers else 0]
        before += bytes(-len(before) % 4)
        binary, result = before + additions.joined(len(before)), {}
        if binary and additions.size:
            document["buffers"] = [{**(buffers[0] if buffers else {}), "byteLength": len(binary)}, *buffers[1:]]
    if not model.is_container:
        return {f"{name}.gltf": _json(document) + b"\n", **result}
    return {f"{name}.glb": _container(document, binary or None, model.further), **result}


def _with_buffer(document: Document, data: bytes, file: str) -> dict[str, bytes]:
    """A buffer for new data: in the text where all others are there, else a file."""
    if not data:
        return {}
    buffers = document.setdefault("buffers", [])
    inside = bool(buffers) and all(is_data(buffer.get("uri", "data:")) for buffer in buffers)
    if inside:
        held = base64.b64encode(data).decode("ascii")
        buffers.append({"byteLength": len(data), "uri": f"data:application/octet-stream;base64,{held}"})
        return {}
    buffers.append({"byteLength": len(data), "uri": file})
    return {file: data}


def _json(document: Document) -> bytes:
    return encoded(json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":")))


def _container(document: Document, binary: bytes | None, further: tuple[tuple[int, bytes], ...]) -> bytes:
    held = _json(document)
    chunks = [(JSON_CHUNK, held + b" " * (-len(held) % 4))]
    if binary is not None:
        chunks.append((BINARY_CHUNK, binary + bytes(-len(binary) % 4)))
    chunks += further
    total = HEADER.size + sum(CHUNK_HEADER.size + len(data) for _, data in chunks)
    if total > LARGEST_CONTAINER:
        raise UnreadableModel(f"it would be {total} bytes, and a .glb file can be {LARGEST_CONTAINER}")
    parts = [HEADER.pack(MAGIC, 2, total)]
    for kind, data in chunks:
        parts += [CHUNK_HEADER.pack(len(data), kind), data]
    return b"".join(parts)


class NamedFiles(NamedTuple):
    """Files that a model names, by where it names them, and those that cannot be taken along, with the reason."""

    files: dict[str, bytes]
    missing: tuple[tuple[str, str], ...]


def named_files(model: SourceModel) -> NamedFiles:
    """The files of buffers and images that lie beside a model, in or below its folder."""
    files: dict[str, bytes] = {}
    missing: dict[str, str] = {}
    for kind in ("buffers", "images"):
        for number, holder in enumerate(objects(model.document, kind, "the file")):
            uri = text(holder, "uri", f"{kind}[{number}]")
            if uri is None or is_data(uri):
                continue
            try:
                files[named_file(uri)] = content(place_of_uri(uri, model.folder))
            except UnreadableModel as error:
                missing[uri] = str(error)
    return NamedFiles(files, tuple(missing.items()))
