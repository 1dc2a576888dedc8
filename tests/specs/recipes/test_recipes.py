"""Every recipe's commands run, in their order, and print what the page says."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from tests.support.data import ROOT, shared_data
from tests.support.page import Page, as_an_author

FOLDER = ROOT / "specs" / "recipes"
PAGES = sorted(path.name for path in FOLDER.glob("*.md") if path.name != "README.md")
EMPTY = {"two_characters.md"}  # which begin without the demo's folder


@pytest.mark.parametrize("name", PAGES)
def test_a_recipe_runs(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "work"
    as_an_author(monkeypatch, tmp_path)
    if name in EMPTY:
        write(demo_files(), tmp_path / "demo", Diagnostics())
        (folder / "characters" / "wren").mkdir(parents=True)
        shutil.copyfile(tmp_path / "demo" / "wren.glb", folder / "characters" / "wren" / "wren.glb")
    else:
        write(demo_files(), folder, Diagnostics())
    if name == "four_legs.md":
        shutil.copyfile(shared_data("characters", "horse", "horse.glb"), folder / "horse.glb")
    monkeypatch.chdir(folder)
    assert Page(FOLDER / name, monkeypatch.chdir).run() > 1


def test_the_list_names_every_recipe() -> None:
    listed = (FOLDER / "README.md").read_text("utf-8")
    assert all(f"({name})" in listed for name in PAGES)
