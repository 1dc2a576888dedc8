"""The JSON of a glTF 2.0 file (Khronos glTF 2.0 sections 2 to 4), from `.gltf` text or a `.glb` container.

Only the JSON is read: a check of a spec must not wait for the binary data of the model.
"""

from __future__ import annotations

import json
import os
import struct
from collections import Counter
from pathlib import Path
from typing import BinaryIO

from plica import file_names, limits, regular_files
from plica.readers.allowance import OverLimit
from plica.readers.json_fields import Fields, fields, indexes, objects
from plica.readers.model_outline import UnreadableModel

MAGIC = b"glTF"  # section 4.4.2: 0x46546C67, little-endian
JSON_CHUNK = 0x4E4F534A  # section 4.4.3
BINARY_CHUNK = 0x004E4942
HEADER = struct.Struct("<4sII")
CHUNK_HEADER = struct.Struct("<II")


def read_document(path: Path) -> Fields:
    """The document's root object.

    Raises UnreadableModel for everything that is not glTF 2.0: wrong or truncated containers, text that is
    not JSON or not UTF-8, too deep or too large, other versions.
    """
    with open_regular(path) as stream:
        document = parse(json_bytes(stream), path.name)
    _check_version(document)
    return document


def open_regular(path: Path, limit: str = "model_bytes") -> BinaryIO:
    """The file, opened for reading; `limit` names the largest size in `Limits`.

    Raises UnreadableModel where it is none, is larger, or may not be read.
    """
    try:
        return regular_files.opened(path, limit)
    except regular_files.Unreadable as error:
        raise UnreadableModel(str(error)) from error


def content(path: Path, limit: str = "model_bytes") -> bytes:
    """The bytes of a whole file, as by `open_regular`. Raises UnreadableModel."""
    try:
        return regular_files.content(path, limit)
    except regular_files.Unreadable as error:
        raise UnreadableModel(str(error)) from error


def named_file(uri: str) -> str:
    """The file, relative to the model's folder, that an address in a model means (RFC 3986, section 4.2).

    Raises UnreadableModel for what may name another place.
    """
    from urllib.parse import unquote, urlsplit  # not for a check of a model without addresses

    try:
        parts = urlsplit(uri)
        name = file_names.normalised(unquote(parts.path, errors="strict"))
    except ValueError as error:
        raise UnreadableModel("it is no usable address") from error
    if parts.scheme or parts.netloc or name.startswith(("/", "../")) or name == "..":
        raise UnreadableModel("it lies outside the model's folder")
    if (problem := file_names.problem_of(name)) is not None:
        raise UnreadableModel(f"it is no usable address: {problem}")
    return name


def addresses(document: Fields) -> list[str]:
    """The addresses of files that a document's buffers are in; none where they are no list."""
    buffers = document.get("buffers")
    held = [buffer.get("uri") for buffer in buffers if isinstance(buffer, dict)] if isinstance(buffers, list) else []
    return [uri for uri in held if isinstance(uri, str) and not is_data(uri)]


def place_of_uri(uri: str, folder: Path) -> Path:
    """Where the file of an address lies: in or below `folder`, links followed. Raises UnreadableModel."""
    try:
        file = regular_files.resolved(folder.joinpath(named_file(uri)))
        inside = file.is_relative_to(regular_files.resolved(folder))
    except (ValueError, OSError, RuntimeError) as error:
        raise UnreadableModel("it is no usable address") from error
    if not inside:
        raise UnreadableModel("it lies outside the model's folder")
    return file


def is_data(uri: str) -> bool:
    """Whether an address holds the data itself (RFC 2397)."""
    return uri[:5].lower() == "data:"


def bytes_of_data_uri(uri: str, place: str) -> bytes:
    """The data of a data URI (RFC 2397). Raises UnreadableModel."""
    import base64  # these two not for a check of a model without such data
    import binascii
    from urllib.parse import unquote, unquote_to_bytes

    head, comma, body = uri[5:].partition(",")
    if not comma:
        raise UnreadableModel(f"{place}.uri is no data URI")
    if not head.lower().endswith(";base64"):
        return unquote_to_bytes(body)
    try:
        return base64.b64decode(unquote(body), validate=True)
    except (binascii.Error, ValueError) as error:
        raise UnreadableModel(f"{place}.uri is not base64") from error


def json_bytes(stream: BinaryIO) -> bytes:
    """The JSON of a container's first chunk, or the whole file where it is no container."""
    start = stream.read(HEADER.size)
    if not start.startswith(MAGIC):
        size = stream.seek(0, os.SEEK_END)
        _check_size(size)
        stream.seek(0)
        return stream.read(size)  # a larger number would be made room for
    offset, size = chunk_place(stream, JSON_CHUNK) or (0, 0)
    if size == 0:
        raise UnreadableModel("it holds no JSON chunk")
    _check_size(size)
    stream.seek(offset)
    return stream.read(size)


def chunk_place(stream: BinaryIO, wanted: int) -> tuple[int, int] | None:
    """Offset and size of the JSON or binary chunk of a container; None where there is none (section 4.4).

    Raises UnreadableModel where sizes and the file do not agree.
    """
    stream.seek(0, os.SEEK_END)
    file_size = stream.tell()
    stream.seek(0)
    header = stream.read(HEADER.size)
    if len(header) < HEADER.size:
        raise UnreadableModel("it ends within its header")
    magic, version, total = HEADER.unpack(header)
    if magic != MAGIC:
        return None
    if version != 2:
        raise UnreadableModel(f"its container has version {version}; Plica reads glTF 2.0")
    if total > file_size:
        raise UnreadableModel(f"it is truncated: {file_size} bytes of {total}")
    offset, number = HEADER.size, 0
    while offset + CHUNK_HEADER.size <= total:
        stream.seek(offset)
        size, kind = CHUNK_HEADER.unpack(stream.read(CHUNK_HEADER.size))
        offset += CHUNK_HEADER.size
        if offset + size > total:
            raise UnreadableModel(f"chunk {number} is said to be {size} bytes, but {total - offset} are left")
        if (number == 0) != (kind == JSON_CHUNK):
            raise UnreadableModel("its first chunk, and no other, must be JSON")
        if kind == wanted:
            return offset, size
        offset, number = offset + size, number + 1
    return None


def parse(data: bytes, name: str) -> Fields:
    """The JSON object in `data`. Raises UnreadableModel."""
    try:
        content = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnreadableModel(f"it is not UTF-8 text (byte {error.start})") from error
    try:
        return fields(json.loads(content, parse_constant=_refuse_constant, object_pairs_hook=_once_each), name)
    except json.JSONDecodeError as error:
        raise UnreadableModel(f"it is not JSON (line {error.lineno}: {error.msg})") from error
    except RecursionError as error:
        raise UnreadableModel("its JSON is nested too deeply") from error
    except MemoryError as error:
        raise UnreadableModel("its JSON is too large for this machine's memory") from error
    except ValueError as error:  # numbers of thousands of digits
        raise UnreadableModel("its JSON holds a number that is too long") from error


def _once_each(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """An object whose names are different ones (glTF 2.0, section 2.7.1) and can be written."""
    result = dict(pairs)
    for name in result:
        if not name.isascii() and any("\ud800" <= character <= "\udfff" for character in name):
            raise UnreadableModel("its JSON has a name that is not valid Unicode")
    if len(result) != len(pairs):
        twice = next(name for name, count in Counter(name for name, _ in pairs).items() if count > 1)
        raise UnreadableModel(f"its JSON gives `{twice[:40]}` twice in one object")
    return result


def _refuse_constant(constant: str) -> float:
    raise UnreadableModel(f"its JSON holds `{constant}`, which is not JSON")


def _check_size(size: int) -> None:
    most = limits.in_force().model_json_bytes
    if size > most:
        raise OverLimit("its JSON", f"{size} bytes", limits.size(most), "model-json-bytes")


def _check_version(document: Fields) -> None:
    asset = document.get("asset")
    version = asset.get("version") if isinstance(asset, dict) else None
    if not isinstance(version, str):
        raise UnreadableModel("it does not say that it is glTF (asset.version is missing)")
    if version.split(".")[0] != "2":
        raise UnreadableModel(f"it has glTF version {version[:20]}; Plica reads glTF 2.0")


def parents_of_nodes(document: Fields) -> list[int | None]:
    """The parent of each node. Raises UnreadableModel where nodes do not form trees (section 3.5.2)."""
    nodes = objects(document, "nodes", "the file")
    parents: list[int | None] = [None] * len(nodes)
    for parent, node in enumerate(nodes):
        for child in indexes(node, "children", len(nodes), f"nodes[{parent}]"):
            if parents[child] is not None:
                raise UnreadableModel(f"node {child} has two parents, {parents[child]} and {parent}")
            parents[child] = parent
    _check_no_cycles(parents)
    return parents


def _check_no_cycles(parents: list[int | None]) -> None:
    reaches_root: set[int] = set()
    for start in range(len(parents)):
        way: set[int] = set()
        node: int | None = start
        while node is not None and node not in reaches_root:
            if node in way:
                raise UnreadableModel(f"node {node} lies below itself")
            way.add(node)
            node = parents[node]
        reaches_root |= way
