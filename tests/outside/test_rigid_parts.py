"""Rigid parts, meshes that hang on a joint without a skin, against glTF 2.0: each goes with its node.

Global transforms are worked out here from the document alone, as section 3.5.3 says (T R S, parents first), with scipy.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from plica.diagnostics import Diagnostics
from plica.evaluate.poses import Poses, rest_poses
from plica.evaluate.retarget import poses_from_clip
from plica.mesh.arrays import Floats
from plica.mesh.deform import Deformer
from plica.mesh.mesh_reader import mesh_of_rig
from plica.pipeline import compile_text
from plica.readers.clip_reader import read_clips
from plica.readers.gltf_arrays import GltfArrays
from plica.readers.gltf_skeleton import skeleton_of_document
from plica.readers.model_reader import read_outline
from plica.workspace import Workspace
from tests.support.data import shared_data
from tests.support.skins import rig_of


def document_of(path: Path) -> dict[str, Any]:
    """The JSON of a GLB container (section 4.4)."""
    content = path.read_bytes()
    (length,) = struct.unpack("<I", content[12:16])
    document: dict[str, Any] = json.loads(content[20 : 20 + length])
    return document


def node_globals(document: dict[str, Any], turns: dict[int, Floats], moves: dict[int, Floats]) -> list[Floats]:
    """The nodes' global transforms, with other rotations and translations for some nodes, by number."""
    parents = {child: number for number, node in enumerate(document["nodes"]) for child in node.get("children", ())}

    def whole(number: int) -> Floats:
        node = document["nodes"][number]
        assert "matrix" not in node
        local = np.eye(4)
        rotation = turns.get(number, np.array(node.get("rotation", (0, 0, 0, 1))))
        local[:3, :3] = Rotation.from_quat(rotation).as_matrix() * node.get("scale", (1, 1, 1))
        local[:3, 3] = moves.get(number, np.array(node.get("translation", (0, 0, 0))))
        return whole(parents[number]) @ local if number in parents else local

    return [whole(number) for number in range(len(document["nodes"]))]


ROBOT = ("expressive_robot", "robot.glb")


def test_every_rigid_part_of_the_robot_follows_its_node() -> None:
    # expressive_robot (its licence beside it): 12 meshes without a skin below joints, and two skinned hands
    path = shared_data("characters", *ROBOT)
    document = document_of(path)
    rig = rig_of(read_outline(path).skeleton)
    mesh = mesh_of_rig(rig, path)
    rigid = {number: node for number, node in enumerate(document["nodes"]) if "mesh" in node and "skin" not in node}
    assert len(rigid) == 12
    found = skeleton_of_document(document)
    node_of = {joint.name: node for joint, node in zip(found.skeleton.joints, found.nodes, strict=True)}
    clips = [poses_from_clip(rig, clip, Diagnostics()) for clip in read_clips(path)]
    assert len(clips) > 5
    arrays = GltfArrays(path)
    checked = 0
    for poses in (rest_poses(rig), *clips):
        frame = poses.frames // 2
        alone = Poses(poses.joints, poses.rotations[frame : frame + 1], poses.translations[frame : frame + 1],
                      poses.control_names, poses.controls[frame : frame + 1])  # fmt: skip
        placed = next(Deformer(mesh, rig, {}).positions(alone)).positions[0]
        nodes = [node_of[name] for name in alone.joints]
        turns = {node: one for node, one in zip(nodes, alone.rotations[0], strict=True) if one.any()}
        globals_ = node_globals(document, turns, dict(zip(nodes, alone.translations[0], strict=True)))
        for part in mesh.parts:
            node = next((number for number, one in rigid.items() if one["name"] == part.node), None)
            if node is None:
                continue
            primitive = document["meshes"][rigid[node]["mesh"]]["primitives"][part.primitives[0]]
            stored = arrays.accessor(primitive["attributes"]["POSITION"]).astype(np.float64)
            expected = stored @ globals_[node][:3, :3].T + globals_[node][:3, 3]
            size = np.abs(expected).max()
            np.testing.assert_allclose(placed[part.start : part.start + part.count], expected, atol=2e-6 * size)
            checked += part.count
    assert checked == (len(clips) + 1) * 6106


def test_morph_targets_of_a_rigid_part_are_usable(tmp_path: Path) -> None:
    # the robot's head hangs on a joint and has three morph targets on each of three primitives
    path = shared_data("characters", *ROBOT)
    text = f"""plica 1
character robot {{ geometry "{path.name}" }}
control cross {{ range 0 .. 1  rest 0 }}
driver crossness {{ reads control cross  span 0 .. 1 }}
shape cross_face {{ morph "Angry"  follows crossness }}
"""
    compiled = compile_text(text, "robot.plica", Workspace(path.parent))
    assert compiled.rig is not None and not any(one.severity.name == "ERROR" for one in compiled.diagnostics)
    mesh = mesh_of_rig(compiled.rig, path)
    moved = mesh.morphs["Angry"]
    arrays, document = GltfArrays(path), document_of(path)
    head = next(one for one in document["meshes"] if one["name"] == "Head")
    stored = [arrays.accessor(primitive["targets"][0]["POSITION"]) for primitive in head["primitives"]]
    assert moved.count == sum(int(np.any(one != 0, axis=1).sum()) for one in stored) > 0
    parts = [part for part in mesh.parts if part.mesh == "Head"]
    assert [part.count for part in parts] == [302, 876, 564]
    assert parts[0].start <= moved.indices.min() and moved.indices.max() < parts[-1].start + parts[-1].count


@pytest.mark.parametrize(
    ("folder", "file", "parts", "vertices"),
    [
        ("expressive_robot", "robot.glb", 19, 7214),
        ("horse", "horse.glb", 8, 4400),
        ("mannequin", "mannequin.gltf", 8, 6578),
    ],
)
def test_all_primitives_of_all_meshes_are_there(folder: str, file: str, parts: int, vertices: int) -> None:
    path = shared_data("characters", folder, file)
    mesh = mesh_of_rig(rig_of(read_outline(path).skeleton), path)
    assert (len(mesh.parts), mesh.vertex_count) == (parts, vertices)
    ends = [part.start + part.count for part in mesh.parts]
    assert [0, *ends[:-1]] == [part.start for part in mesh.parts] and ends[-1] == mesh.vertex_count
