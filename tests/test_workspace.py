"""What a spec names, and the spec itself, stays in the spec's folder and is a file."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from plica.commands.main import run
from plica.pipeline import compile_file
from plica.workspace import Refused, Workspace
from tests.support.examples import FILES
from tests.support.repositories import no_file

GOOD = (FILES / "preamble.plica").read_text("utf-8")
SECRET = "token-8d1c plica\n"
pytestmark = pytest.mark.skipif(os.name == "nt", reason="links and pipes as POSIX has them")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A spec's folder beside a secret."""
    place = tmp_path / "specs"
    place.mkdir()
    (tmp_path / "secret").write_text(SECRET, "utf-8")
    monkeypatch.chdir(place)
    return place


def refused(folder: Path, text: str) -> str:
    result = Workspace(folder).locate(text)
    return result.name if isinstance(result, Refused) else "found"


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("maps/a.png", "found"),
        ("maps\\a.png", "found"),
        ("./maps//a.png", "found"),
        ("maps/../maps/a.png", "found"),
        ("../secret", "file-outside"),
        ("C:/secret", "file-outside"),
        ("C:secret", "file-outside"),
        ("\\\\host\\share\\a", "file-outside"),
        ("maps/aux.png", "missing-file"),
        ("maps/a.png:stream", "missing-file"),
        ("maps/a.png ", "missing-file"),
        (".git/config", "missing-file"),
        ("maps/a\n.png", "missing-file"),
        ("..", "missing-file"),
        ("", "missing-file"),
        ("a\0b", "missing-file"),
    ],
)
def test_names_in_specs(folder: Path, text: str, name: str) -> None:
    for path in ("maps/a.png", "maps/aux.png", "maps/a.png:stream", "maps/a.png ", ".git/config"):
        (folder / path).parent.mkdir(exist_ok=True)
        (folder / path).touch()
    assert refused(folder, text) == name


@pytest.mark.parametrize("kind", ["pipe", "socket", "device", "folder"])
def test_what_is_no_file_is_neither_found_nor_read(folder: Path, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    place = no_file(kind, folder / "other.plica")
    assert refused(folder, "other.plica") == ("file-outside" if kind == "device" else "missing-file")
    for command in (["check"], ["format"], ["build", "--out", "out"], ["prove"], ["measure", "--clip", "x.bvh"]):
        assert run([command[0], place.name, *command[1:]]) == 1
        assert ("PL502" if kind == "device" else "PL503") in "".join(capsys.readouterr())


def test_a_spec_that_is_a_link_out_of_its_folder_is_not_read(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "wren.plica").symlink_to("../secret")
    for words in (["check", "wren.plica"], ["format", "wren.plica"], ["build", "wren.plica", "--out", "out"]):
        assert run(words) == 1
        shown = "".join(capsys.readouterr())
        assert "PL502" in shown and "token" not in shown
    assert run(["diff", ".", "."]) == 2
    assert "token" not in "".join(capsys.readouterr())
    assert run(["check", "wren.plica", "--allow", ".."]) == 1  # allowed, and no spec


def test_a_spec_that_is_a_link_within_its_folder_is_read(folder: Path) -> None:
    (folder / "shared").mkdir()
    (folder / "shared/one.plica").write_text(GOOD, "utf-8")
    (folder / "wren.plica").symlink_to("shared/one.plica")
    assert compile_file(Path("wren.plica")).rig is not None


@pytest.mark.parametrize("form", ["text", "json", "sarif", "github"])
def test_nothing_is_quoted_of_what_is_no_plica_text(
    folder: Path, form: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A library that a spec names may be any file of the folder, such as one that holds a password."""
    (folder / "password").write_text(f"{SECRET}driver token-8d1c {{\n", "utf-8")
    (folder / "wren.plica").write_text(f'{GOOD}\nuse "password"\n', "utf-8")
    for spec in ("wren.plica", "password"):
        assert run(["check", spec, "--format", form]) == 1
        shown = "".join(capsys.readouterr())
        assert "PL107" in shown and "token" not in shown
