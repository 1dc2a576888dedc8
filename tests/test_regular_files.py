"""Only regular files are opened, at once, and only as large as a limit says."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from plica import limits, regular_files
from plica.regular_files import TooLarge, Unreadable, content, kind_of, opened
from tests.support.repositories import no_file

pytestmark = pytest.mark.skipif(os.name == "nt", reason="pipes, sockets and devices as POSIX has them")
KINDS = {"pipe": "named pipe", "socket": "socket", "device": "device", "folder": "folder"}


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_no_file_is_refused_at_once(kind: str, tmp_path: Path) -> None:
    place = no_file(kind, tmp_path / "place")
    with pytest.raises(Unreadable, match=KINDS[kind]):
        content(place, "model_bytes")
    assert KINDS[kind] in (kind_of(place) or "")


def test_what_becomes_a_pipe_as_it_is_opened_is_refused_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "place"
    place.touch()

    def swapped(path: Path, flags: int, real: object = os.open) -> int:
        place.unlink()
        os.mkfifo(place)
        return real(path, flags)  # type: ignore[operator, no-any-return]

    monkeypatch.setattr(regular_files.os, "open", swapped)
    with pytest.raises(Unreadable, match="named pipe"):
        content(place, "model_bytes")


def test_the_size_is_known_before_anything_is_read(tmp_path: Path) -> None:
    place = tmp_path / "large.usd"
    with place.open("wb") as file:
        file.truncate(1 << 40)
    with pytest.raises(TooLarge, match="--limit model-bytes=SIZE"):
        opened(place, "model_bytes")


def test_a_limit_is_the_largest_size_that_is_still_read(tmp_path: Path) -> None:
    place = tmp_path / "text"
    place.write_bytes(b"12345")
    with limits.using(limits.Limits(text_bytes=5)):
        assert content(place, "text_bytes") == b"12345"
    with limits.using(limits.Limits(text_bytes=4)), pytest.raises(TooLarge, match="larger than 4 bytes"):
        content(place, "text_bytes")


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="there are no such files here")
def test_what_has_another_size_than_it_says_is_no_content() -> None:
    with pytest.raises(Unreadable, match="no file on a disk"):
        content(Path("/proc/self/status"), "text_bytes")


@pytest.mark.parametrize(("name", "words"), [("absent", "not there"), ("a\0b", "no file name"), ("x" * 300, "opened")])
def test_what_cannot_be_opened_is_said(name: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(Unreadable, match=words):
        content(tmp_path / name, "text_bytes")
    place = tmp_path / "file"
    place.touch()
    with pytest.raises(Unreadable, match="not there"):
        content(place / "below", "text_bytes")
    assert kind_of(place) is kind_of(place / "below") is kind_of(tmp_path / "absent") is None
