"""Sculpts carried over from another state of the model: edited, renumbered, subdivided."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import plica
from plica.commands.main import run
from plica.mesh.arrays import Floats, Integers
from plica.mesh.fingerprint import fingerprint
from plica.mesh.npz import arrays_of, written
from plica.mesh.offsets import lengths
from plica.mesh.weld import edges_of
from tests.support.wren import CHARACTER, skinned
from tests.variants.model_file import Model, Primitive, read_model, write_model

DRIVER = "driver elbow both { reads rotation about x of lowerarm   span 0 deg .. 120 deg }\n"
SHAPE = 'shape swell both { sculpt "swell.npz"  posed at elbow 1   one-sided   follows elbow }\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Wren as she was (`before/`), and a sculpt on her bent left elbow."""
    (tmp_path / "before").mkdir()
    mesh = skinned("", tmp_path / "before").mesh
    middle = int(np.argmax(mesh.positions[:, 0]))
    share = np.clip(1.0 - lengths(mesh.positions - mesh.positions[middle]) / 0.05, 0.0, 1.0)
    moving = np.flatnonzero(share)
    moves = share[moving, None] * np.array([0.001, 0.003, 0.002])
    (tmp_path / "wren.plica").write_text(CHARACTER + DRIVER + SHAPE, "utf-8")
    arrays = {
        "indices": moving,
        "offsets": moves,
        "vertex_count": np.array(mesh.vertex_count),
        "fingerprint": np.array(str(fingerprint(mesh))),
    }
    (tmp_path / "swell.npz").write_bytes(written(arrays))
    return tmp_path


def now(folder: Path, change: Callable[[Primitive], Primitive]) -> tuple[Primitive, Primitive]:
    """Wren as she is now: her one primitive, before and after the change."""
    model: Model = read_model(folder / "before" / "wren.glb")
    [mesh] = [one for one in model.meshes if one.primitives]
    [old] = mesh.primitives
    mesh.primitives = [change(old)]
    write_model(model, folder / "wren.glb")
    return old, mesh.primitives[0]


def offsets(folder: Path, count: int) -> Floats:
    """The sculpt's offsets (v, 3) as its file has them."""
    arrays = arrays_of((folder / "swell.npz").read_bytes())
    result = np.zeros((count, 3))
    result[arrays["indices"]] = arrays["offsets"]
    return result


def with_vertices(old: Primitive, rows: Integers, triangles: Integers) -> Primitive:
    """The vertices with these numbers, in this order."""
    return Primitive(
        old.positions[rows],
        None if old.normals is None else old.normals[rows],
        None if old.uvs is None else old.uvs[rows],
        triangles,
        old.joints[rows],
        old.weights[rows],
        {name: moves[rows] for name, moves in old.morphs.items()},
        old.source[rows],
    )


def on_neutral(folder: Path, model: Path) -> Floats:
    """What the shape adds to the undeformed mesh (v, 3), with the model of a folder."""
    text = (folder / "wren.plica").read_text("utf-8").replace('"wren.glb"', f'"{(model / "wren.glb").as_posix()}"')
    mesh = plica.attach_mesh(plica.compile_text(text, folder=folder))
    assert mesh.attached is not None
    primary = mesh.attached.shapes["left_swell"].primary
    result = np.zeros_like(mesh.positions)
    result[primary.indices] = primary.offsets
    return result


def carried(folder: Path, capsys: pytest.CaptureFixture[str]) -> str:
    assert run(["build", str(folder / "wren.plica"), "--out", str(folder / "out")]) == 1  # refused as it is
    capsys.readouterr()
    command = ["adopt", str(folder / "wren.plica"), "--over", str(folder / "before" / "wren.glb"), "--replace"]
    assert run(command) == 0, capsys.readouterr().err
    shown = capsys.readouterr().out
    assert run(["build", str(folder / "wren.plica"), "--out", str(folder / "out")]) == 0, capsys.readouterr().out
    return shown


def test_an_edited_mesh_keeps_the_sculpt(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Thirty vertices far from the sculpt were moved by 10 mm; nothing of that is undone by the shape."""

    def edited(old: Primitive) -> Primitive:
        positions = old.positions.copy()
        positions[np.argsort(positions[:, 1])[-30:]] += [0.0, 0.01, 0.0]
        return replace(old, positions=positions)

    old, _ = now(folder, edited)
    before = offsets(folder, len(old.positions))
    assert "30 of 23713 vertices were moved, by at most 10 mm near `head`" in carried(folder, capsys)
    assert np.abs(offsets(folder, len(old.positions)) - before).max() < 1e-8


def test_other_numbers(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order = np.random.default_rng(2).permutation(23713)

    def renumbered(old: Primitive) -> Primitive:
        return with_vertices(old, order, np.argsort(order)[old.triangles])

    old, _ = now(folder, renumbered)
    before = offsets(folder, len(old.positions))
    assert "the mesh is another" in carried(folder, capsys)
    assert np.abs(offsets(folder, len(old.positions)) - before[order]).max() < 2e-6


def test_a_subdivided_mesh(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every edge cut in two: old vertices keep their offsets, those between have the mean."""
    edges = edges_of(read_model(folder / "before" / "wren.glb").meshes[0].primitives[0].triangles)

    def subdivided(old: Primitive) -> Primitive:
        number = {tuple(edge): len(old.positions) + row for row, edge in enumerate(edges.tolist())}
        triangles = []
        for a, b, c in old.triangles.tolist():
            x, y, z = (number[min(p, q), max(p, q)] for p, q in ((a, b), (b, c), (c, a)))
            triangles += [(a, x, z), (x, b, y), (z, y, c), (x, y, z)]
        rows = np.concatenate([np.arange(len(old.positions)), edges[:, 0]])
        result = with_vertices(old, rows, np.array(triangles))
        result.positions[len(old.positions) :] = old.positions[edges].mean(axis=1)
        return result

    old, _ = now(folder, subdivided)
    count = len(old.positions)
    before = on_neutral(folder, folder / "before")
    carried(folder, capsys)
    after = on_neutral(folder, folder)
    assert np.abs(after[:count] - before).max() < 2e-5
    assert np.abs(after[count:] - before[edges].mean(axis=1)).max() < 2e-5


def test_mistakes(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    now(folder, lambda old: old)
    spec = str(folder / "wren.plica")
    assert run(["adopt", spec]) == 2 and "--over" in capsys.readouterr().err
    assert run(["adopt", spec, "swell", "--over", str(folder / "before" / "wren.glb")]) == 2
    assert run(["adopt", spec, "--over", str(folder / "absent.glb")]) == 1
    assert run(["adopt", spec, "--over", str(folder / "before" / "wren.glb")]) == 2  # not written over
    assert "--replace" in capsys.readouterr().err
    (folder / "wren.plica").write_text(CHARACTER + DRIVER, "utf-8")
    with pytest.raises(plica.PlicaError, match="no sculpts"):
        plica.rebase_sculpts(plica.compile_file(spec), folder / "before" / "wren.glb")
