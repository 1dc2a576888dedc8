"""`plica start` on what the target `gltf` wrote: the spec that the file was made of, in other words."""

from __future__ import annotations

import json
import shutil
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest

import plica
from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.diff.verdicts import Harm
from plica.emit.writer import write
from plica.pipeline import compile_file
from plica.rig.files import files_of
from plica.start.carried_spec import spec_of_rig
from plica.workspace import Workspace
from tests.targets.gltf.test_gltf_target import WREN, Written
from tests.variants.characters import CHARACTERS, Character
from tests.variants.law import poses_of

BASE_MESH = next(character for character in CHARACTERS if character.name == "base_mesh")


def changes_of_meaning(folder: Path, old: str, new: str) -> list[str]:
    """What `plica diff` finds, but for words and comments."""
    compared = plica.compare_characters(folder / old, folder / new, measure=False)
    assert not [one for one in compared.diagnostics if one.severity.name == "ERROR"]
    return [one.title for one in compared.changes if one.harm is not Harm.COSMETIC]


def test_the_whole_demo_comes_back(tmp_path: Path) -> None:
    """Both sides from one declaration, but where the demo has an exception for one of them."""
    write(demo_files(), tmp_path, Diagnostics())
    rig = compile_file(tmp_path / "wren.plica").rig
    assert rig is not None
    files = {file for file, _, _, _ in files_of(rig)}
    sources = {file: sha256((tmp_path / file).read_bytes()).hexdigest() for file in files}
    result = spec_of_rig(rig, sources, {}, "wren.rigged.glb", Workspace(tmp_path))
    assert result is not None
    assert result.differs == ()
    (tmp_path / "again.plica").write_text(result.text, "utf-8")
    assert changes_of_meaning(tmp_path, "wren.plica", "again.plica") == []
    sided = [
        line for line in result.text.splitlines() if line.startswith(("driver", "shape", "fold", "region", "field"))
    ]
    assert [line for line in sided if " both " not in line and "sniffing" not in line] == [
        "driver knee_bend left {",
        "driver knee_bend right {",
    ]


@pytest.mark.parametrize("character", [WREN, BASE_MESH], ids=lambda character: character.name)
def test_a_file_with_all_that_it_was_made_of_gives_the_same_spec(character: Character, tmp_path: Path) -> None:
    written = Written("written_again", tmp_path, of=character)
    started = plica.start_spec(written.file, folder=tmp_path)
    assert started.diagnostics == ()
    started.write(tmp_path / "again.plica")
    assert changes_of_meaning(tmp_path, "spec.plica", "again.plica") == []


def test_a_file_alone_gives_a_spec_that_moves_the_skin_alike(tmp_path: Path) -> None:
    """Without the model and the sculpts shapes are morph targets of the file itself."""
    made = tmp_path / "made"
    made.mkdir()
    written = Written("written_again", made)
    alone = tmp_path / "alone"
    alone.mkdir()
    shutil.copy(written.file, alone / "gift.glb")
    started = plica.start_spec(alone / "gift.glb", folder=alone)
    assert started.diagnostics == ()
    started.write(alone / "gift.plica")
    again = plica.compile_file(alone / "gift.plica")
    pose = poses_of(written.variation, written.character)
    before = plica.deform_mesh(plica.attach_mesh(written.character), pose).positions
    after = plica.deform_mesh(plica.attach_mesh(again), pose).positions
    np.testing.assert_allclose(after, before, atol=1e-6)
    assert again.rig.strengths == written.character.rig.strengths


def test_a_damaged_rig_is_told_and_leaves_a_first_spec(tmp_path: Path) -> None:
    document = {
        "asset": {"version": "2.0"},
        "nodes": [{"name": "hips", "children": [1]}, {"name": "knee", "translation": [0.0, -0.5, 0.0]}],
        "scenes": [{"nodes": [0]}],
        "extras": {"plica": {"format": "plica-gltf", "version": 1, "targets": [], "sources": {}, "rig": {"format": 3}}},
    }
    (tmp_path / "legs.gltf").write_text(json.dumps(document), "utf-8")
    started = plica.start_spec(tmp_path / "legs.gltf", folder=tmp_path)
    assert "PL648" in [one.code for one in started.diagnostics]
    assert started.text.startswith("plica 1\n\n// A first spec")
