"""The cache on disk."""

from __future__ import annotations

import os
from hashlib import md5
from pathlib import Path

import pytest

from plica.prove.cache.disk import SIGNATURE, TAG, DiskCache

KEY, OTHER, THIRD = "ab" * 32, "cd" * 32, "ef" * 32


def files_of(folder: Path) -> set[str]:
    return {path.name for path in folder.glob("figures/??/*")}


def test_what_is_put_is_got_and_nothing_else(tmp_path: Path) -> None:
    store = DiskCache(tmp_path)
    store.put("figures", KEY, b"one\ntwo")
    assert store.get("figures", KEY) == b"one\ntwo"
    assert DiskCache(tmp_path).get("figures", KEY) == b"one\ntwo"
    assert store.get("figures", OTHER) is None
    assert store.get("comparisons", KEY) is None


@pytest.mark.parametrize("damage", [b"", b"x", b"x" * 64, b"x" * 64 + b"\nfour", None])
def test_a_damaged_entry_is_as_if_it_were_absent_and_goes(tmp_path: Path, damage: bytes | None) -> None:
    store = DiskCache(tmp_path)
    store.put("figures", KEY, b"three")
    (path,) = tmp_path.glob("figures/??/*")
    path.write_bytes(path.read_bytes()[:-1] if damage is None else damage)
    assert store.get("figures", KEY) is None
    assert not path.exists()


def test_a_later_run_adds_to_what_is_there(tmp_path: Path) -> None:
    beside = KEY[:2] + OTHER[2:]
    DiskCache(tmp_path).put("figures", KEY, b"one")
    later = DiskCache(tmp_path)
    later.put("figures", beside, b"two")
    assert not later.problem and later.get("figures", beside) == b"two" and later.get("figures", KEY) == b"one"


def test_nothing_is_left_behind_half_written(tmp_path: Path) -> None:
    store = DiskCache(tmp_path)
    for number in range(20):
        store.put("figures", f"{number:064x}", b"content")
    assert not list(tmp_path.rglob("*.part"))


def test_what_was_used_longest_ago_goes_first(tmp_path: Path) -> None:
    store = DiskCache(tmp_path, most_bytes=2 * 4096)
    for age, key in ((300, KEY), (200, OTHER), (100, THIRD)):
        store.put("figures", key, b"content")
        os.utime(tmp_path / "figures" / key[:2] / key, (1e9 - age, 1e9 - age))
    assert store.get("figures", KEY) is not None  # and with that it was used just now
    store.trim()
    assert files_of(tmp_path) == {KEY, THIRD}


def test_what_a_killed_run_left_half_written_goes_after_a_while(tmp_path: Path) -> None:
    store = DiskCache(tmp_path)
    store.put("figures", KEY, b"content")
    folder = tmp_path / "figures" / KEY[:2]
    for name, age in (("old.part", 1e9), ("new.part", 4e9)):
        (folder / name).write_bytes(b"half")
        os.utime(folder / name, (age, age))
    store.trim()
    assert files_of(tmp_path) == {KEY, "new.part"}


def test_only_its_own_files_are_ever_deleted(tmp_path: Path) -> None:
    letter = tmp_path / "letter.txt"
    letter.write_bytes(b"dear" * 10_000)
    store = DiskCache(tmp_path, most_bytes=0)
    store.put("figures", KEY, b"content")
    store.trim()
    assert letter.exists() and files_of(tmp_path) == set()


def test_a_folder_that_cannot_be_written_is_told_and_does_no_harm(tmp_path: Path) -> None:
    (tmp_path / "taken").write_bytes(b"")
    store = DiskCache(tmp_path / "taken")
    store.put("figures", KEY, b"content")
    assert store.get("figures", KEY) is None
    assert store.problem
    store.trim()


def test_the_folder_is_marked_as_a_cache(tmp_path: Path) -> None:
    """Cache Directory Tagging Specification (B. Ford): the signature is the MD5 of `.IsCacheDirectory`; both from
    memory, but they have to agree."""
    DiskCache(tmp_path).put("figures", KEY, b"content")
    held = (tmp_path / TAG).read_bytes()
    assert held == SIGNATURE
    assert held.startswith(b"Signature: " + md5(b".IsCacheDirectory").hexdigest().encode())
