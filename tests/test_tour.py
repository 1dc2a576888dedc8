"""The README's tour, line by line, on characters of other people."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from tests.support.data import ROOT, shared_data
from tests.support.page import Page, as_an_author

CHARACTERS = {
    "base_mesh": ("base_mesh_facing_x", "base_mesh.glb"),
    "man": ("unnamed_man", "man.glb"),
    "rigged_figure": ("rigged_figure", "RiggedFigure.glb"),
}


@pytest.mark.parametrize("name", CHARACTERS)
def test_every_command_of_the_tour(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    model = shared_data("characters", *CHARACTERS[name])
    folder = tmp_path / "work"
    folder.mkdir()
    shutil.copyfile(model, folder / "otter.glb")
    monkeypatch.chdir(folder)
    as_an_author(monkeypatch, tmp_path)
    page = Page(ROOT / "README.md", monkeypatch.chdir)
    page.text = page.text[page.text.index("## Ten minutes") : page.text.index("## What Plica does not do")]

    def own(text: str) -> str:
        """The tour's shape is the reader's own: the lower arm's, else the first that `plica start` wrote."""
        if "lowerarm_corrective" not in text:
            return text
        shapes = re.findall(r"^shape (\w+)", (folder / "otter.plica").read_text("utf-8"), re.MULTILINE)
        arms = [name for name in shapes if name in ("lowerarm_corrective", "forearm_corrective")]
        return text.replace("lowerarm_corrective", [*arms, *shapes][0])

    assert page.run(own) > 8
    assert (folder / "otter.html").stat().st_size > 100_000 and (folder / "live").is_dir()
