"""Where the vertices of the offsets are in the model's file, read off the file itself."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.emit.offsets_table import offsets_bytes, with_offsets
from plica.mesh.attach import attach
from plica.mesh.offsets_file import read_offsets_file
from plica.pipeline import compile_text
from plica.readers.gltf_arrays import GltfArrays
from plica.rig.integrity import first_problem
from plica.rig.offsets_table import OffsetsPart
from plica.workspace import Workspace
from tests.mesh.test_usd_mesh import STAGE
from tests.support.data import shared_data

SMILE = """control smiling { range 0 .. 1  rest 0 }
driver smiling_much { reads control smiling  span 0 .. 1 }
shape smile { morph "%s"  follows smiling_much }
"""


def test_the_vertices_of_the_robot_are_those_of_its_file() -> None:
    folder = shared_data("characters", "expressive_robot", "robot.glb").parent
    text = 'plica 1\ncharacter robot { geometry "robot.glb" }\n' + SMILE % "Surprised"
    compiled = compile_text(text, "robot.plica", Workspace(folder))
    assert compiled.rig is not None
    attached = attach(compiled.rig, Workspace(folder).locate, Diagnostics())
    assert attached is not None
    rig = with_offsets(compiled.rig, attached, 0)
    assert first_problem(rig) is None and rig.offsets is not None
    arrays = GltfArrays(folder / "robot.glb")
    meshes = {mesh["name"]: mesh for mesh in arrays.document["meshes"]}
    moved = attached.shapes["smile"].primary.indices
    heads = 0
    for part in rig.offsets.parts:
        primitive = meshes[part.mesh]["primitives"][part.primitives[0]]
        assert part.vertices == part.points == len(arrays.accessor(primitive["attributes"]["POSITION"]))
        inside = moved[(moved >= part.first) & (moved < part.first + part.vertices)] - part.first
        targets = primitive.get("targets")
        expected = np.flatnonzero(arrays.accessor(targets[1]["POSITION"]).any(axis=1)) if targets else np.zeros(0, int)
        assert inside.tolist() == expected.tolist()
        heads += part.mesh == "Head"
    assert heads == 3 and len(moved) > 0


def test_copies_of_openusd_points_say_whose_they_are(tmp_path: Path) -> None:
    pytest.importorskip("pxr", reason="usd-core is not installed")
    (tmp_path / "model.usda").write_text(STAGE, "utf-8")
    text = 'plica 1\ncharacter plate { geometry "model.usda" }\n' + SMILE % "smile"
    compiled = compile_text(text, "plate.plica", Workspace(tmp_path))
    assert compiled.rig is not None, [one.message for one in compiled.diagnostics]
    attached = attach(compiled.rig, Workspace(tmp_path).locate, Diagnostics())
    assert attached is not None
    rig = with_offsets(compiled.rig, attached, 0)
    assert rig.offsets is not None
    # Centimetres, z up, and geomBindTransform lifts by 10: all of it is in the matrix.
    rows = ((0.01, 0.0, 0.0, 0.0), (0.0, 0.0, 0.01, 0.1), (0.0, -0.01, 0.0, 0.0), (0.0, 0.0, 0.0, 1.0))
    np.testing.assert_allclose(rig.offsets.parts[0].to_model, rows, atol=1e-12)
    part = OffsetsPart("skin", None, (0,), 0, attached.mesh.vertex_count, 5, rig.offsets.parts[0].to_model)
    assert rig.offsets.parts == (part,)
    assert attached.mesh.vertex_count > 5, "the uvs differ from face to face"
    points = read_offsets_file(offsets_bytes(attached, None)).points[0]
    stored = np.array([(0, 0, 0), (100, 0, 0), (100, 100, 0), (0, 100, 0), (200, 50, 0)])[points]
    own = attached.mesh.positions * 100.0
    np.testing.assert_allclose(np.stack([own[:, 0], -own[:, 2]], axis=1), stored[:, :2], atol=1e-9)


@pytest.mark.parametrize(
    ("change", "told"), [({"first": 1}, "first"), ({"vertices": 9}, "vertex_count"), ({"points": 99}, "points")]
)
def test_parts_that_do_not_make_up_the_mesh_are_refused(change: dict[str, int], told: str, tmp_path: Path) -> None:
    pytest.importorskip("pxr", reason="usd-core is not installed")
    (tmp_path / "model.usda").write_text(STAGE, "utf-8")
    text = 'plica 1\ncharacter plate { geometry "model.usda" }\n' + SMILE % "smile"
    compiled = compile_text(text, "plate.plica", Workspace(tmp_path))
    assert compiled.rig is not None
    attached = attach(compiled.rig, Workspace(tmp_path).locate, Diagnostics())
    assert attached is not None
    rig = with_offsets(compiled.rig, attached, 0)
    assert rig.offsets is not None
    parts = (rig.offsets.parts[0]._replace(**change),)  # type: ignore[arg-type]
    found = first_problem(rig._replace(offsets=rig.offsets._replace(parts=parts)))
    assert found is not None and told in found.path + found.text
