"""`plica demo`."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.commands import demo
from plica.commands.main import run
from plica.mesh.computed_cache import ComputedCache


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return demo.demo_files()


@pytest.fixture(scope="module")
def memory() -> ComputedCache:
    return ComputedCache()


@pytest.fixture(autouse=True)
def prepared(files: dict[str, bytes], memory: ComputedCache, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The demo's files are read, and its regions and shapes computed, once for all tests here."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(demo, "demo_files", lambda: dict(files))
    monkeypatch.setattr("plica.mesh.computed_cache.ComputedCache", lambda keeps: memory)


def test_the_whole_job_runs(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["demo"]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    assert 8 <= len(shown.out.rstrip().split("\n")) <= 14
    named = [line.split()[0] for line in shown.out.split("\n") if line.startswith("  ") and "plica check" not in line]
    for name in named:
        assert Path("wren", name).exists()
    assert {path.name for path in Path("wren").iterdir()} == set(named)
    assert sorted(path.name for path in Path("wren/build").iterdir()) == [
        "wren.manifest.json",
        "wren.offsets.npz",
        "wren.rig.json",
        "wren.vectors.json",
        "wren_install.py",
        "wren_rig.py",
    ]
    assert run(["check", "wren/wren.plica"]) == 0
    assert run(["build", "wren/wren.plica", "--out", "wren/build", "--current"]) == 0


def test_again_in_the_same_folder_changes_nothing() -> None:
    assert run(["demo", "here"]) == 0
    before = {path: path.read_bytes() for path in Path("here").rglob("*") if path.is_file()}
    assert run(["demo", "here"]) == 0
    assert {path: path.read_bytes() for path in Path("here").rglob("*") if path.is_file()} == before


def test_what_a_killed_run_left_is_nobody_elses() -> None:
    Path("here").mkdir()
    for name in (".plica.lock", ".plica-0123456789abcdef.part"):
        Path("here", name).write_bytes(b"left")
    assert run(["demo", "here"]) == 0
    assert list(Path("here").rglob(".plica*")) == []


def test_somebody_elses_folder_is_left_alone(capsys: pytest.CaptureFixture[str]) -> None:
    Path("mine").mkdir()
    Path("mine/letter.txt").write_text("dear", "utf-8")
    assert run(["demo", "mine"]) == 2
    assert "--replace" in capsys.readouterr().err
    assert [path.name for path in Path("mine").iterdir()] == ["letter.txt"]
    assert run(["demo", "mine", "--replace"]) == 0
    assert Path("mine/letter.txt").read_text("utf-8") == "dear"


def test_what_somebody_changed_is_left_alone(files: dict[str, bytes], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["demo"]) == 0
    spec = Path("wren/wren.plica")
    spec.write_bytes(spec.read_bytes() + b"// mine\n")
    assert run(["demo"]) == 2
    assert "`wren/wren.plica` was changed" in capsys.readouterr().err
    assert spec.read_bytes().endswith(b"// mine\n")
    assert run(["demo", "--replace"]) == 0
    assert spec.read_bytes() == files["wren.plica"]


def test_an_empty_folder_will_do() -> None:
    Path("empty").mkdir()
    assert run(["demo", "empty"]) == 0


def test_a_file_in_the_way(capsys: pytest.CaptureFixture[str]) -> None:
    Path("wren").write_text("mine", "utf-8")
    assert run(["demo"]) == 2
    assert "is not a folder" in capsys.readouterr().err
    assert run(["demo", "--replace"]) == 1
    assert Path("wren").read_text("utf-8") == "mine"
