"""The target `materialx` from a spec with a mesh to files, and mistakes as diagnostics."""

from __future__ import annotations

import io
from importlib.metadata import EntryPoint
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from plica.diagnostics import Diagnostics
from plica.emit.artifacts import Request, build_targets
from plica.emit.prepare import prepare
from plica.emit.target import Options
from plica.pipeline import compile_file
from plica.targets.masks import TARGET as MASKS
from plica.targets.materialx import TARGET
from tests.support.meshes import Buffers

PAGE = Path(__file__).resolve().parents[3] / "targets" / "materialx" / "README.md"

# A skin of two squares side by side, whose texture coordinates fill the texture.
CORNERS = np.array([(x, y, 0.0) for y in (0.0, 1.0) for x in (0.0, 1.0, 2.0)])
TRIANGLES = np.array(((0, 1, 4), (0, 4, 3), (1, 2, 5), (1, 5, 4)))


def write_skin(path: Path) -> None:
    """The skin on one joint, as glTF."""
    buffers = Buffers()
    attributes = {
        "POSITION": buffers.add(CORNERS),
        "TEXCOORD_0": buffers.add(CORNERS[:, :2] * (0.5, 1.0)),
        "JOINTS_0": buffers.add(np.zeros((6, 4)), np.uint8),
        "WEIGHTS_0": buffers.add(np.tile((1.0, 0.0, 0.0, 0.0), (6, 1))),
    }
    indices = buffers.add(TRIANGLES.reshape(-1), np.uint16)
    buffers.written(
        path,
        {
            "nodes": [{"name": "hips"}, {"name": "skin", "mesh": 0, "skin": 0}],
            "skins": [{"joints": [0]}],
            "meshes": [{"name": "skin", "primitives": [{"attributes": attributes, "indices": indices}]}],
        },
    )


CHARACTER = """plica 1
character wren {
    geometry "skin.gltf"
}
driver lean { reads bend of hips   span 0 deg .. 30 deg }
driver sway { reads rotation about x of hips   span 0 deg .. 30 deg }
region brow { painted "brow.png" }
region nose { painted "nose.png" }
"""
FOLDS = """
detail fur { relaxed "maps/a.png"   contracted "maps/b.png" }
fold brow_lines { in fur   area brow   follows lean }
fold nose_lines { in fur   area nose   follows sway }
"""


def png(pixels: NDArray[np.uint8]) -> bytes:
    content = io.BytesIO()
    Image.fromarray(pixels).save(content, "PNG")
    return content.getvalue()


def flat_map(lean: int = 0) -> bytes:
    return png(np.full((16, 16, 3), (128 + lean, 128, 255), np.uint8))


def built(
    folder: Path, declarations: str = FOLDS, options: Options | None = None, **changed: bytes
) -> tuple[dict[str, bytes], list[str]]:
    """The files of the target, and the names of what was told."""
    grey = np.zeros((16, 16), np.uint8)
    grey[:, :8] = 255
    files = {
        "brow.png": png(grey),
        "nose.png": png(255 - grey),
        "maps/a.png": flat_map(),
        "maps/b.png": flat_map(40),
        "wren.plica": (CHARACTER + declarations).encode(),
    }
    for name, content in {**files, **{key.replace("_", "/") + ".png": value for key, value in changed.items()}}.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)
    write_skin(folder / "skin.gltf")
    diagnostics = Diagnostics()
    compiled = compile_file(folder / "wren.plica")
    diagnostics.extend(compiled.diagnostics)
    build = prepare(compiled, folder, (), diagnostics)
    emitted: dict[str, bytes] = {}
    if build is not None:
        target = TARGET.configured(options or {}, diagnostics)
        emitted = {} if target is None else target.emit(build, diagnostics)
    return emitted, [each.name for each in diagnostics.all]


def test_the_document_and_all_that_it_reads(tmp_path: Path) -> None:
    files, told = built(tmp_path)
    assert told == []
    root = ElementTree.fromstring(files["wren.mtlx"])
    read = {each.get("value") or "" for each in root.iter("input") if each.get("type") == "filename"}
    assert read <= set(files)
    assert {"maps/wren_fur_relaxed.png", "maps/wren_fur_contracted.png"} <= read
    assert files["maps/wren_fur_contracted.png"] == flat_map(40)
    graph = root.find("nodegraph")
    assert graph is not None
    assert [each.get("name") for each in graph.findall("input")] == ["brow_lines", "nose_lines"]


def test_masks_are_those_of_the_target_masks(tmp_path: Path) -> None:
    """Both can be built together, with the same options."""
    built(tmp_path)
    diagnostics = Diagnostics()
    build = prepare(compile_file(tmp_path / "wren.plica"), tmp_path, (), diagnostics)
    assert build is not None
    alone, with_graph = MASKS.emit(build, diagnostics), TARGET.emit(build, diagnostics)
    assert alone.items() < with_graph.items()
    assert set(with_graph) - set(alone) == {
        "wren.mtlx",
        "maps/wren_fur_relaxed.png",
        "maps/wren_fur_contracted.png",
    }
    one_each, _ = built(tmp_path, options={"channels": ["1"], "size": ["64"]})
    assert len([name for name in one_each if name.startswith("wren.masks.") and name.endswith(".png")]) == 2
    root = ElementTree.fromstring(one_each["wren.mtlx"])
    assert [each.get("type") for each in root.iter("image")].count("float") == 2
    assert list(root.iter("extract")) == []


def test_the_same_bytes_on_every_run(tmp_path: Path) -> None:
    assert built(tmp_path) == built(tmp_path)


@pytest.mark.parametrize(
    ("declarations", "expected"),
    [
        ("", ["no-details"]),
        ('detail fur { relaxed "maps/a.png"   contracted "maps/a.png" }', ["normal-maps-alike"]),
    ],
)
def test_details_and_folds_that_are_not_there(declarations: str, expected: list[str], tmp_path: Path) -> None:
    files, told = built(tmp_path, declarations)
    assert [name for name in told if name != "unused-name"] == expected
    assert ("wren.mtlx" in files) == ("detail" in declarations)


def test_maps_that_are_none_stop_the_target(tmp_path: Path) -> None:
    files, told = built(tmp_path, maps_b=b"plica 1")
    assert (files, told) == ({}, ["unreadable-normal-map"])
    files, told = built(tmp_path, maps_b=png(np.full((16, 16, 3), (188, 188, 255), np.uint8)))
    assert (files, told) == ({}, ["normal-map-as-colour"])
    files, told = built(tmp_path, maps_b=png(np.full((8, 16, 3), (128, 128, 255), np.uint8)))
    assert told == ["normal-maps-of-two-sizes"] and "wren.mtlx" in files


def test_a_spec_without_a_mesh(tmp_path: Path) -> None:
    spec = CHARACTER.replace('geometry "skin.gltf"', "skeleton { joint hips at 0 m, 0 m, 0 m }") + FOLDS
    built(tmp_path)
    (tmp_path / "wren.plica").write_text(spec, "utf-8")
    diagnostics = Diagnostics()
    build = prepare(compile_file(tmp_path / "wren.plica"), tmp_path, (), diagnostics)
    assert build is not None
    assert TARGET.emit(build, diagnostics) == {}
    assert [each.name for each in diagnostics.all] == ["masks-without-mesh"]


def test_through_the_build_stage(tmp_path: Path) -> None:
    """Features of every kind are no hindrance, since strengths come in as inputs."""
    built(tmp_path)
    diagnostics = Diagnostics()
    build = prepare(compile_file(tmp_path / "wren.plica"), tmp_path, (), diagnostics)
    assert build is not None
    entry = EntryPoint("materialx", "plica.targets.materialx:TARGET", "plica.targets")
    files = build_targets(build, (Request("materialx"),), diagnostics, registered={"materialx": entry}).files
    assert "wren.mtlx" in files and not diagnostics.has_errors


def test_the_page_names_what_is_written() -> None:
    page = PAGE.read_text("utf-8")
    for word in (
        "`factor`",
        "`tangent_normal`",
        "`normal`",
        "<character>.mtlx",
        "maps/",
        "`size`",
        "`channels`",
        "`still`",
    ):
        assert word in page
    assert [option.name for option in TARGET.options()] == ["size", "channels", "still"]
