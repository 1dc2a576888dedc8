"""OpenUSD models: up axis, units, names, and what is refused."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from plica.diagnostics import Diagnostics
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import find_outline, is_usd, read_outline

pytest.importorskip("pxr", reason="usd-core is not installed")

STAGE = """#usda 1.0
(
    upAxis = "{up}"
    metersPerUnit = {metres}
)
def SkelRoot "Root"
{{
    def Skeleton "Bones" (prepend apiSchemas = ["SkelBindingAPI"])
    {{
        uniform token[] joints = [{joints}]
        uniform matrix4d[] bindTransforms = [{transforms}]
        {rest}
    }}
    def Mesh "Skin" (prepend apiSchemas = ["SkelBindingAPI"])
    {{
        point3f[] points = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
        texCoord2f[] primvars:st = [(0, 0), (1, 0), (0, 1)] (interpolation = "vertex")
        uniform token[] skel:blendShapes = ["smile", "frown"]
        rel skel:skeleton = </Root/Bones>
        int[] primvars:skel:jointIndices = [0, 0, 0] (elementSize = 1; interpolation = "vertex")
        float[] primvars:skel:jointWeights = [1, 1, 1] (elementSize = 1; interpolation = "vertex")
    }}
}}
"""
MOVED = "((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), ({}, {}, {}, 1))"


def _stage(folder: Path, **values: object) -> Path:
    first, second = MOVED.format(0, 0, 100), MOVED.format(10, 0, 150)
    settings = {
        "up": "Z",
        "metres": 0.01,
        "joints": '"hips", "hips/arm"',
        "transforms": f"{first}, {second}",
        "rest": f"uniform matrix4d[] restTransforms = [{first}, {MOVED.format(10, 0, 50)}]",
        **values,
    }
    path = folder / "model.usda"
    path.write_text(STAGE.format(**settings))
    return path


def test_z_up_and_centimetres_become_y_up_and_metres(tmp_path: Path) -> None:
    outline = read_outline(_stage(tmp_path))
    assert [joint.name for joint in outline.skeleton.joints] == ["hips", "arm"]
    assert outline.skeleton.frames[0].origin == pytest.approx((0, 1, 0))
    assert outline.skeleton.frames[1].origin == pytest.approx((0.1, 1.5, 0))
    x, y, z = ((row[0], row[1], row[2]) for row in zip(*outline.skeleton.frames[1].linear, strict=True))
    assert x == pytest.approx((0.01, 0, 0))
    assert y == pytest.approx((0, 0, -0.01))  # what was y points away from the viewer, as z up is turned to y up
    assert z == pytest.approx((0, 0.01, 0))
    assert outline.problems == ()


def test_y_up_and_metres_stay(tmp_path: Path) -> None:
    outline = read_outline(_stage(tmp_path, up="Y", metres=1))
    assert outline.skeleton.frames[1].origin == pytest.approx((10, 0, 150))


def test_a_mesh_says_what_it_holds(tmp_path: Path) -> None:
    (mesh,) = read_outline(_stage(tmp_path)).meshes
    assert (mesh.name, mesh.vertices, mesh.skinned) == ("Skin", 3, True)
    assert mesh.uv_sets == ("st",)
    assert mesh.morph_targets == ("smile", "frown")


def test_without_a_rest_pose_the_bind_pose_is_taken_and_said(tmp_path: Path) -> None:
    outline = read_outline(_stage(tmp_path, rest=""))
    assert outline.skeleton.frames[1].origin == pytest.approx((0.1, 1.5, 0))
    assert "bind pose" in outline.problems[0]


def test_joints_of_one_name_are_named_by_their_paths(tmp_path: Path) -> None:
    outline = read_outline(_stage(tmp_path, joints='"arm", "arm/arm"'))
    assert [joint.name for joint in outline.skeleton.joints] == ["arm", "arm/arm"]


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"joints": '"hips/arm", "hips"'}, "not in order"),
        ({"joints": '"hips", "hips"'}, "not in order"),
        ({"rest": "", "transforms": ""}, "neither"),
        (
            {"rest": f"uniform matrix4d[] restTransforms = [{MOVED.format('inf', 0, 0)}, {MOVED.format(0, 0, 0)}]"},
            "usable",
        ),
    ],
)
def test_what_cannot_be_used_is_said(tmp_path: Path, values: dict[str, object], words: str) -> None:
    with pytest.raises(UnreadableModel, match=words):
        read_outline(_stage(tmp_path, **values))


@pytest.mark.parametrize("ending", ["usd", "usda", "usdc", "usdz"])
def test_damaged_files_are_said_to_be_so_and_nothing_is_printed(
    tmp_path: Path, ending: str, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / f"model.{ending}"
    path.write_bytes(b"PK\x03\x04 not a stage")
    with pytest.raises(UnreadableModel, match="damaged"):
        read_outline(path)
    assert capfd.readouterr() == ("", "")


def test_layers_outside_the_models_folder_are_refused(tmp_path: Path) -> None:
    _stage(tmp_path)
    folder = tmp_path / "inside"
    folder.mkdir()
    path = folder / "model.usda"
    path.write_text("#usda 1.0\n(\n    subLayers = [@../model.usda@]\n)\n")
    with pytest.raises(UnreadableModel, match="outside"):
        read_outline(path)


def test_without_usd_core_the_way_to_get_it_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pxr", None)
    diagnostics = Diagnostics()
    assert find_outline(_stage(tmp_path), "model.usda", None, diagnostics) is None
    (diagnostic,) = diagnostics.all
    assert diagnostic.name == "unreadable-model"
    assert "pip install 'plica[usd]'" in diagnostic.message


def test_formats_are_told_by_ending_then_by_content(tmp_path: Path) -> None:
    for name, data, expected in (
        ("a.glb", b"", False),
        ("a.USDZ", b"", True),
        ("a.model", b"#usda 1.0", True),
        ("b.model", b"PXR-USDC", True),
        ("c.model", b"glTF", False),
        ("d.model", b' {"asset": 1}', False),
    ):
        path = tmp_path / name
        path.write_bytes(data)
        assert is_usd(path) is expected
    (tmp_path / "e.model").write_bytes(b"v 1 2 3")
    with pytest.raises(UnreadableModel, match="neither"):
        is_usd(tmp_path / "e.model")
