"""Offsets put on the vertices as the model's file stores them, from the page `targets/json/offsets.md` alone.

The file is read by the variants' own reader, and its own nodes and inverse bind matrices pose it (glTF 2.0, section
3.7.3): what comes out is what Plica shows, in metres.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import plica
from tests.variants.characters import CHARACTERS
from tests.variants.law import MODEL, poses_of, spec_of, write_variation
from tests.variants.model_file import Floats, Model, Primitive, read_model
from tests.variants.table import VARIANTS
from tests.variants.variation import Variation

WREN = next(character for character in CHARACTERS if character.name == "wren")
FRAME = 4
STORED = (
    "written_again",
    "mesh_in_centimetres",
    "all_in_centimetres",
    "file_in_centimetres",
    "rest_posed_in_centimetres",
    "rest_posed_rigid_parts",
    "bind_space_turned",
    "z_up",
    "cut",
    "nameless",
)


def shown(model: Model, part: dict[str, Any]) -> tuple[int, Primitive]:
    """The node that shows a part of the offsets, and the primitive whose vertices they are."""
    names = [mesh.name or f"mesh_{number}" for number, mesh in enumerate(model.meshes)]
    mesh = names.index(part["mesh"])
    nodes = [number for number, node in enumerate(model.nodes) if node.mesh == mesh and node.name == part["node"]]
    return nodes[0], model.meshes[mesh].primitives[part["primitives"][0]]


def posed(model: Model, node: int, primitive: Primitive, positions: Floats, worlds: Floats) -> Floats:
    """Where the file's own matrices put stored vertices (v, 3) of a primitive."""
    number = model.nodes[node].skin
    if number is None:
        return np.asarray(positions @ worlds[node, :3, :3].T + worlds[node, :3, 3])
    moves = worlds[model.skins[number].joints] @ model.skins[number].inverse_binds
    weights = primitive.weights / primitive.weights.sum(axis=1, keepdims=True)
    matrices = np.einsum("vk,vkij->vij", weights, moves[primitive.joints])
    return np.einsum("vij,vj->vi", matrices[:, :3, :3], positions) + matrices[:, :3, 3]


def built(variation: Variation, folder: Path) -> tuple[plica.Character, dict[str, Any], dict[str, Floats]]:
    """The character, its rig in JSON, and for each shape what it moves of every vertex, all from built files."""
    write_variation(variation, folder)
    (folder / "spec.plica").write_text(spec_of(variation), "utf-8")
    character = plica.compile_file(folder / "spec.plica")
    files = plica.build_files(character, ["json"]).files
    rig = json.loads(files["c.rig.json"])
    (folder / "c.offsets.npz").write_bytes(files["c.offsets.npz"])
    offsets = {}
    with np.load(folder / "c.offsets.npz", allow_pickle=False) as file:
        assert str(file["build"]) == rig["build"]
        for name in file["shapes"].tolist():
            offsets[name] = np.zeros((int(file["vertex_count"]), 3))
            offsets[name][file[f"{name}/indices"]] = file[f"{name}/offsets"]
    return character, rig, offsets


@pytest.mark.parametrize("name", STORED)
def test_offsets_on_stored_vertices_give_the_skin(name: str, tmp_path: Path) -> None:
    variation = next(variant for variant in VARIANTS if variant.name == name).make(WREN)
    character, rig, offsets = built(variation, tmp_path)
    pose = poses_of(variation, character)
    strengths = plica.compute_strengths(character, pose)
    mesh = plica.attach_mesh(character)
    expected = plica.deform_mesh(mesh, pose).positions[FRAME]
    bare = plica.deform_mesh(mesh, pose, shapes=False).positions[FRAME]
    model, worlds = read_model(tmp_path / MODEL), variation.worlds()[:, FRAME]
    unit = rig["character"]["geometry"]["unit"]
    moved = sum(
        strengths[shape["follows"]][FRAME] * offsets[shape["name"]] for shape in rig["shapes"] if shape["follows"]
    )
    size = float(np.ptp(expected, axis=0).max())
    largest = 0.0
    for part in rig["offsets"]["parts"]:
        node, primitive = shown(model, part)
        rows = slice(part["first"], part["first"] + part["vertices"])
        to_model = np.array(part["to_model"])
        assert len(primitive.positions) == part["points"] == part["vertices"]
        stored = primitive.positions + moved[rows] @ np.linalg.inv(to_model[:3, :3]).T
        there = unit * posed(model, node, primitive, stored, worlds)
        np.testing.assert_allclose(there, expected[rows], atol=2e-6 * size)
        neutral = primitive.positions @ to_model[:3, :3].T + to_model[:3, 3]
        np.testing.assert_allclose(neutral, mesh.positions[rows], atol=2e-6 * size)
        largest = max(largest, float(np.abs(expected[rows] - bare[rows]).max(initial=0.0)))
    assert largest > 1e-3, "the shapes do something in that pose"
