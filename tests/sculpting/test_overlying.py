"""What lies over a sculpted skin follows it: a flat cloth of 2 m by 1 m, and a cover that rises from it along y."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import plica
from plica.commands.main import run
from plica.mesh.arrays import Floats
from plica.mesh.npz import arrays_of
from tests.support.cloth import COUNT, model
from tests.support.sculpted import obj
from tests.variants.model_file import MeshOf, Node, read_model, write_model

SPEC = """plica 1
character cloth { geometry "cloth.glb" }
driver lift { reads rotation about x of tip   span 0 deg .. 90 deg }
shape bump { follows lift }
"""
RISE = 0.1  # metres, from one edge of the cover to the other
HEIGHT = 0.004


@pytest.fixture
def spec(tmp_path: Path) -> Path:
    model(tmp_path / "cloth.gltf")
    both = read_model(tmp_path / "cloth.gltf")
    cover = both.copy().meshes[0].primitives[0]
    cover.positions[:, 2] = RISE * cover.positions[:, 1]
    both.meshes.append(MeshOf("linen", [cover]))
    both.nodes.append(Node("cover", None, np.eye(4), mesh=1, skin=0))
    write_model(both, tmp_path / "cloth.glb")
    (tmp_path / "cloth.plica").write_text(SPEC, "utf-8")
    return tmp_path / "cloth.plica"


def sculpted(spec: Path) -> tuple[Floats, Floats]:
    """Writes the sculpt `back.obj`, the skin alone raised in its middle. The mesh (v, 3) and how high it was raised."""
    posed = plica.pose_skin(plica.compile_file(spec), "bump", at="lift 0")
    places = posed.positions
    away = np.linalg.norm(places[:, :2] - [0.8, 0.5], axis=1)
    heights = HEIGHT * np.clip(1.0 - (away / 0.45) ** 2, 0.0, 1.0) ** 2
    heights[COUNT:] = 0.0
    raised = places + heights[:, np.newaxis] * [0.0, 0.0, 1.0]
    (spec.parent / "back.obj").write_bytes(obj(raised, posed.mesh.triangles))
    return places, heights


@pytest.mark.parametrize("name", ["linen", "cover"])
def test_a_cover_follows_and_fades(spec: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The nearest place on the flat skin is right below, at a distance that is known: all of the offset up to 1 % of
    the size, nothing from 3 %, a smooth step between."""
    places, heights = sculpted(spec)
    command = ["adopt", str(spec), "bump", str(spec.parent / "back.obj"), "--at", "lift 0", "--also", name]
    assert run(command) == 0, capsys.readouterr().err
    assert "vertices that lie over the skin follow it" in capsys.readouterr().out
    arrays = arrays_of((spec.parent / "sculpts" / "bump.npz").read_bytes())
    result = np.zeros((2 * COUNT, 3))
    result[arrays["indices"]] = arrays["offsets"]
    size = np.linalg.norm(np.ptp(places, axis=0))
    step = np.clip((places[COUNT:, 2] / size - 0.01) / 0.02, 0.0, 1.0)
    expected = heights[:COUNT] * (1.0 - 3.0 * step**2 + 2.0 * step**3)
    assert (expected == 0.0).any() and (expected > 0.5 * HEIGHT).any() and ((step > 0.1) & (step < 0.9)).any()
    assert np.abs(result[:COUNT, 2] - heights[:COUNT]).max() < 1e-6
    assert np.abs(result[COUNT:, 2] - expected).max() < 1e-6
    assert np.abs(result[:, :2]).max() < 1e-6


def test_what_cannot_follow(spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sculpted(spec)
    command = ["adopt", str(spec), "bump", str(spec.parent / "back.obj"), "--at", "lift 0", "--also"]
    assert run([*command, "covr"]) == 1
    assert "did you mean `cover`?" in capsys.readouterr().err
    assert run([*command, "skin,cover"]) == 1
    assert "PL830" in capsys.readouterr().err
    assert run(["adopt", str(spec), "--from", str(spec), "--also", "cover"]) == 2
    assert not (spec.parent / "sculpts").exists()
