"""Containers and JSON, whole and broken."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from plica.readers.gltf_document import read_document
from plica.readers.model_outline import UnreadableModel
from tests.support.models import container

DOCUMENT = json.dumps({"asset": {"version": "2.0"}, "nodes": []}).encode()


def _write(folder: Path, data: bytes) -> Path:
    path = folder / "model.glb"
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("data", [DOCUMENT, b"\xef\xbb\xbf" + DOCUMENT, container(DOCUMENT), container(DOCUMENT, b"1")])
def test_text_and_containers_give_the_same_document(tmp_path: Path, data: bytes) -> None:
    assert read_document(_write(tmp_path, data)) == json.loads(DOCUMENT)


def test_the_binary_chunk_is_not_read(tmp_path: Path) -> None:
    path = _write(tmp_path, container(DOCUMENT, b"\0" * 64))
    whole = path.stat().st_size
    with path.open("r+b") as stream:  # a chunk of a gigabyte that takes no room on the disk
        stream.seek(8)
        stream.write((whole + (1 << 30)).to_bytes(4, "little"))
        stream.truncate(whole + (1 << 30))
        stream.seek(12 + 8 + len(DOCUMENT) + -len(DOCUMENT) % 4)
        stream.write((64 + (1 << 30)).to_bytes(4, "little"))
    assert read_document(path)["nodes"] == []


BROKEN = {
    "empty": (b"", "not JSON"),
    "not JSON": (b"{'a': 1}", "not JSON"),
    "an array": (b"[]", "not an object"),
    "not UTF-8": (b'{"asset": "\xff\xfe"}', "UTF-8"),
    "deep": (b"[" * 200_000, "nested too deeply"),
    "a long number": (b'{"asset": ' + b"9" * 10_000 + b"}", "too long"),
    "not a number": (b'{"asset": NaN}', "NaN"),
    "no version": (b'{"asset": {}}', "asset.version"),
    "version 1": (b'{"asset": {"version": "1.0"}}', "glTF version 1.0"),
    "header cut": (b"glTF\x02\0\0", "ends within its header"),
    "container version": (container(DOCUMENT, version=1), "version 1"),
    "truncated": (container(DOCUMENT, b"12345678")[:-4], "truncated"),
    "chunk too long": (container(DOCUMENT)[:12] + b"\xff\xff\xff\x7fJSON" + DOCUMENT, "bytes"),
    "no chunk": (b"glTF" + (2).to_bytes(4, "little") + (12).to_bytes(4, "little"), "no JSON chunk"),
    "binary first": (container(DOCUMENT).replace(b"JSON", b"BIN\0"), "first chunk"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_what_is_broken_is_said(tmp_path: Path, name: str) -> None:
    data, words = BROKEN[name]
    with pytest.raises(UnreadableModel, match=words):
        read_document(_write(tmp_path, data))


def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnreadableModel, match="not there"):
        read_document(tmp_path / "missing.glb")
    with pytest.raises(UnreadableModel):
        read_document(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_named_pipe_does_not_hang(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.glb"
    os.mkfifo(pipe)
    with pytest.raises(UnreadableModel, match="not a file"):
        read_document(pipe)
