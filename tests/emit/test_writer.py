"""Writing: inside the folder, whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.diagnostics import Diagnostics
from plica.emit.writer import Written, is_current, outdated, write
from tests.support.repositories import no_file

FILES = {"wren.rig.json": b"{}\n", "maps/brow.png": b"\x89PNG"}


def written(files: dict[str, bytes], folder: Path, dry_run: bool = False) -> tuple[Written | None, list[str]]:
    diagnostics = Diagnostics()
    result = write(files, folder, diagnostics, dry_run=dry_run)
    return result, [each.name for each in diagnostics.all]


def everything_in(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()
    }


def test_files_are_written_and_then_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "out"
    assert outdated(FILES, folder) == ("maps/brow.png", "wren.rig.json")
    assert written(FILES, folder) == (Written(("maps/brow.png", "wren.rig.json")), [])
    assert everything_in(folder) == FILES
    assert is_current(FILES, folder)
    before = (folder / "wren.rig.json").stat().st_mtime_ns
    changed = {**FILES, "maps/brow.png": b"other"}
    assert outdated(changed, folder) == ("maps/brow.png",)
    assert written(changed, folder) == (Written(("maps/brow.png",), ("wren.rig.json",)), [])
    assert (folder / "wren.rig.json").stat().st_mtime_ns == before


def test_a_dry_run_touches_nothing(tmp_path: Path) -> None:
    assert written(FILES, tmp_path / "out", dry_run=True) == (Written(("maps/brow.png", "wren.rig.json")), [])
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "path",
    [
        "",
        "/etc/passwd",
        "../out.json",
        "a/../../out.json",
        "a/./b",
        "a//b",
        "a/",
        "C:/out.json",
        "C:out.json",
        "\\\\host\\share",
        "a\\b",
        "a\nb",
        "a\x00b",
        "name.",
        "name ",
        "a?",
        "con.rig.json",
        "maps/NUL...",
        "maps/aux.png",
        ".git/hooks/pre-commit",
    ],
)
def test_paths_that_leave_the_folder_stop_everything(path: str, tmp_path: Path) -> None:
    assert written({**FILES, path: b"x"}, tmp_path / "out") == (None, ["path-leaves-folder"])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("first", "second"),
    [("wren.json", "Wren.json"), ("straße", "STRASSE"), ("caf\u00e9", "cafe\u0301"), ("a", "a/b"), ("A", "a/b")],
)
def test_paths_that_some_systems_take_for_one_are_refused(first: str, second: str, tmp_path: Path) -> None:
    assert written({first: b"1", second: b"2"}, tmp_path / "out") == (None, ["paths-collide"])
    assert list(tmp_path.iterdir()) == []


def test_links_that_lead_out_are_refused(tmp_path: Path) -> None:
    outside, folder = tmp_path / "outside", tmp_path / "out"
    outside.mkdir()
    folder.mkdir()
    (folder / "maps").symlink_to(outside, target_is_directory=True)
    (folder / "wren.rig.json").symlink_to(outside / "kept.json")
    assert written(FILES, folder) == (None, ["path-leaves-folder", "path-leaves-folder"])
    assert list(outside.iterdir()) == []


def test_the_folder_itself_may_be_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "out").symlink_to(tmp_path / "real", target_is_directory=True)
    assert written(FILES, tmp_path / "out")[1] == []
    assert everything_in(tmp_path / "real") == FILES


def test_a_folder_in_a_files_place_is_refused(tmp_path: Path) -> None:
    (tmp_path / "wren.rig.json").mkdir()
    assert written(FILES, tmp_path) == (None, ["path-leaves-folder"])


@pytest.mark.parametrize("below", [".", "deeper"])
def test_a_file_in_the_folders_place_is_told_as_that(below: str, tmp_path: Path) -> None:
    place = tmp_path / "out"
    place.write_text("mine", "utf-8")
    diagnostics = Diagnostics()
    assert write(FILES, place / below, diagnostics) is None
    (found,) = diagnostics.all
    assert found.name == "file-not-written" and "a file of that name" in found.message
    assert found.hint == "give another folder" and place.read_text("utf-8") == "mine"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
@pytest.mark.parametrize("dry_run", [False, True])
def test_what_is_no_file_is_neither_read_nor_replaced(tmp_path: Path, dry_run: bool) -> None:
    place = no_file("pipe", tmp_path / "wren.rig.json")
    assert outdated(FILES, tmp_path) == ("maps/brow.png", "wren.rig.json")
    assert written(FILES, tmp_path, dry_run) == (None, ["path-leaves-folder"])
    assert place.is_fifo()


def test_what_the_system_refuses_leaves_the_old_files_whole(tmp_path: Path) -> None:
    """`maps` is a file here, so no folder of that name can be made."""
    (tmp_path / "maps").write_bytes(b"in the way")
    (tmp_path / "zebra.json").write_bytes(b"old")
    files = {**FILES, "zebra.json": b"new"}
    assert written(files, tmp_path) == (None, ["file-not-written"])
    assert everything_in(tmp_path) == {"maps": b"in the way", "zebra.json": b"old"}


@given(st.text(max_size=20) | st.text("./\\ab:", max_size=8))
@settings(max_examples=150, deadline=None)
def test_nothing_is_ever_written_outside(tmp_path_factory: pytest.TempPathFactory, path: str) -> None:
    base = tmp_path_factory.mktemp("base")
    diagnostics = Diagnostics()
    result = write({path: b"x"}, base / "out", diagnostics)
    outside = [entry for entry in base.rglob("*") if entry.is_file() and base / "out" not in entry.parents]
    assert outside == []
    assert (result is None) == diagnostics.has_errors
