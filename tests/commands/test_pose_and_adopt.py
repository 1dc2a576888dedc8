"""`plica pose` and `plica adopt`: the way of a sculpt, out and back."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from plica.commands.main import run
from plica.mesh.obj_mesh import read_obj
from tests.support.sculpted import bumped, obj
from tests.support.wren import CHARACTER, skinned

SPEC = CHARACTER + (
    "driver elbow both { reads rotation about x of lowerarm   span 0 deg .. 120 deg }\n"
    "shape crease both { follows elbow }\n"
    "pose salute right { at elbow 0.5 }\n"
)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The current folder, with Wren and a spec in it."""
    skinned("", tmp_path)
    (tmp_path / "wren.plica").write_text(SPEC, "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_out_in_centimetres_and_back(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["pose", "wren.plica", "crease", "--out", "out.obj", "--unit", "cm", "--up", "z"]) == 0
    assert "23713 vertices in cm, z up" in capsys.readouterr().out
    record = json.loads(Path("out.pose.json").read_text("utf-8"))
    assert record["shape"] == "left_crease" and record["pose"]["said"] == "left_elbow 1" and record["metres"] == 0.01
    mesh = read_obj(Path("out.obj"))
    middle = int(np.argmax(mesh.positions[:, 0]))
    Path("out.obj").write_bytes(obj(bumped(mesh.positions, middle, 2.0, 0.5), mesh.triangles))
    assert run(["adopt", "wren.plica", "crease", "out.obj"]) == 0
    shown = capsys.readouterr().out
    assert "100 times as large (its lengths are centimetres): put right" in shown and "z points up" in shown
    assert 'sculpt "sculpts/crease.npz"  posed at elbow 1' in shown
    Path("wren.plica").write_text(
        SPEC.replace("{ follows elbow }", '{ sculpt "sculpts/crease.npz"  posed at elbow 1   follows elbow }'), "utf-8"
    )
    assert run(["build", "wren.plica", "--out", "build"]) == 0, capsys.readouterr().out
    assert "left_crease   93 vertices" in capsys.readouterr().out
    assert run(["adopt", "wren.plica", "crease", "out.obj"]) == 2  # not written over
    assert "--replace" in capsys.readouterr().err


@pytest.mark.parametrize("ending", [".obj", ".glb", ".usda", ".npz"])
def test_each_form_comes_back_as_it_went(ending: str, capsys: pytest.CaptureFixture[str]) -> None:
    if ending == ".usda":
        pytest.importorskip("pxr")
    assert run(["pose", "wren.plica", "crease", "--out", f"out{ending}"]) == 0
    assert run(["adopt", "wren.plica", "crease", f"out{ending}"]) == 1
    assert "PL811" in capsys.readouterr().err  # recognised, and nothing was sculpted


def test_poses_that_can_be_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["pose", "wren.plica", "--pose", "right_salute", "--out", "a.npz"]) == 0
    assert run(["pose", "wren.plica", "--at", "elbow 0.5, about y of head 10 deg", "--out", "b.npz"]) == 0
    said = json.loads(Path("b.pose.json").read_text("utf-8"))["pose"]["said"]
    assert said == "left_elbow 0.5, about (0, 1, 0) of head 10 deg"
    assert run(["pose", "wren.plica", "crease", "--strength", "0.5", "--both-sides", "--out", "c.npz"]) == 0
    joints = json.loads(Path("c.pose.json").read_text("utf-8"))["pose"]["joints"]
    assert set(joints) == {"lowerarm_lf", "lowerarm_rt"}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["cress"], "did you mean `crease`"),
        (["--at", "elbow 90 mm"], "is no pose"),
        (["--at", "elbw 1"], "is no pose"),
        (["--pose", "salut"], "no pose `salut`"),
        (["--worst", "volume"], "no expectation"),
        (["--on", "creas"], "no shape `creas`"),
    ],
)
def test_mistakes(given: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["pose", "wren.plica", *given, "--out", "x.obj"]) == 1
    shown = capsys.readouterr().err
    assert said in shown and not Path("x.obj").exists()


def test_forms_that_cannot_hold_what_is_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["pose", "wren.plica", "--out", "x.glb", "--unit", "cm"]) == 1
    assert "in metres with y up" in capsys.readouterr().err
    assert run(["pose", "wren.plica", "--out", "x.stl"]) == 1
    assert ".obj" in capsys.readouterr().err


def test_a_sculpt_in_another_form_does_not_build(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["pose", "wren.plica", "crease", "--out", "out.obj"]) == 0
    mesh = read_obj(Path("out.obj"))
    sculpt = bumped(mesh.positions, int(np.argmax(mesh.positions[:, 0])), 0.02, 0.005)
    line = '{ sculpt "back.obj"  posed at elbow 1   follows elbow }'
    Path("wren.plica").write_text(SPEC.replace("{ follows elbow }", line), "utf-8")
    assert run(["pose", "wren.plica", "--out", "rest.obj", "--on", "none"]) == 1  # no such file yet
    for points, code in ((sculpt * 100, "PL808"), (sculpt + 0.5, "PL808"), (mesh.positions, "PL811")):
        Path("back.obj").write_bytes(obj(points, mesh.triangles))
        assert run(["build", "wren.plica", "--out", "build"]) == 1
        assert code in capsys.readouterr().out
    Path("back.obj").write_bytes(obj(sculpt, mesh.triangles))
    Path("wren.plica").write_text(SPEC.replace("{ follows elbow }", line.replace("elbow 1", "elbow 0.75")), "utf-8")
    assert run(["build", "wren.plica", "--out", "build"]) == 1
    assert "PL809" in capsys.readouterr().out
    Path("wren.plica").write_text(SPEC.replace("{ follows elbow }", line), "utf-8")
    assert run(["build", "wren.plica", "--out", "build"]) == 0
