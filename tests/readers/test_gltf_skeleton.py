"""Which nodes become joints, what they are called, and where they rest."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from plica.readers.gltf_skeleton import outline_of_document
from plica.readers.model_outline import UnreadableModel
from plica.skeleton.skeleton import local_frame


def _document(nodes: Sequence[Any], **others: Any) -> dict[str, Any]:
    return {"asset": {"version": "2.0"}, "nodes": list(nodes), **others}


def _names(document: dict[str, Any], *chosen: str) -> list[str]:
    return [joint.name for joint in outline_of_document(document, chosen).skeleton.joints]


def test_joints_their_ancestors_and_helpers_below_them_make_the_skeleton() -> None:
    nodes = [
        {"name": "arm", "children": [1, 2]},
        {"name": "helper"},
        {"children": []},
        {"name": "root", "children": [0, 4, 5, 6]},
        {"name": "body", "mesh": 0, "skin": 0},
        {"name": "lamp"},
        {"name": "eye_aim"},
    ]
    animation = {"channels": [{"sampler": 0, "target": {"node": 6, "path": "rotation"}}], "samplers": []}
    document = _document(nodes, meshes=[{"primitives": []}], skins=[{"joints": [0]}], animations=[animation])
    joints = outline_of_document(document).skeleton.joints
    assert [joint.name for joint in joints] == ["root", "arm", "helper", "eye_aim"]
    assert [joint.skinned for joint in joints] == [False, True, False, False]
    assert [joint.parent for joint in joints] == [None, 0, 1, 0]


def test_only_the_skins_of_the_chosen_meshes_count() -> None:
    nodes = [
        {"name": "a"},
        {"name": "b"},
        {"mesh": 0, "skin": 0},
        {"mesh": 1, "skin": 1},
    ]
    meshes = [{"name": "first", "primitives": []}, {"name": "second", "primitives": []}]
    document = _document(nodes, meshes=meshes, skins=[{"joints": [0]}, {"joints": [1]}])
    assert _names(document, "second") == ["b"]
    assert _names(document, "first", "second") == ["a", "b"]
    assert _names(document) == ["a", "b"]
    assert _names(document, "unknown") == ["a", "b"]


def test_without_skins_every_node_that_shows_nothing_is_a_joint() -> None:
    nodes = [
        {"name": "root", "children": [1]},
        {"name": "tail"},
        {"name": "eye", "camera": 0},
        {"name": "sun", "extensions": {"KHR_lights_punctual": {"light": 0}}},
        {"name": "body", "mesh": 0},
    ]
    document = _document(nodes, meshes=[{"primitives": []}])
    assert _names(document) == ["root", "tail"]
    assert not any(joint.skinned for joint in outline_of_document(document).skeleton.joints)


def test_unnamed_and_repeated_names_become_distinct() -> None:
    nodes: list[dict[str, Any]] = [
        {},
        {"name": "arm"},
        {"name": "arm"},
        {"name": "arm_2"},
        {"name": "arm"},
        {"name": ""},
    ]
    outline = outline_of_document(_document(nodes))
    names = [joint.name for joint in outline.skeleton.joints]
    assert names == ["joint_0", "arm", "arm_3", "arm_2", "arm_4", "joint_5"]
    assert len(outline.problems) == 2
    assert "`arm_3`" in outline.problems[0]


def test_a_matrix_is_taken_apart() -> None:
    generator = np.random.default_rng(7)
    for mirrored in (False, True):
        rotation, _ = np.linalg.qr(generator.normal(size=(3, 3)))
        rotation *= np.linalg.det(rotation)
        scale = generator.uniform(0.5, 2.0, 3) * ((-1, 1, 1) if mirrored else (1, 1, 1))
        matrix = np.eye(4)
        matrix[:3, :3] = rotation * scale
        matrix[:3, 3] = (1, 2, 3)
        outline = outline_of_document(_document([{"matrix": matrix.T.ravel().tolist()}]))
        joint = outline.skeleton.joints[0]
        frame = local_frame(joint.translation, joint.rotation, joint.scale)
        np.testing.assert_allclose(frame.linear, matrix[:3, :3], atol=1e-12)
        assert frame.origin == (1.0, 2.0, 3.0)
        assert not outline.problems
        assert (joint.scale[0] < 0) == mirrored


def test_shear_and_lost_axes_are_noted_and_the_rotation_stays_a_rotation() -> None:
    sheared = [1, 0, 0, 0, 0.5, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]
    flat = [1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]
    nothing = [0] * 15 + [1]
    for matrix, word in ((sheared, "dropped"), (flat, "scale of 0"), (nothing, "scale of 0")):
        outline = outline_of_document(_document([{"matrix": matrix}]))
        assert any(word in problem for problem in outline.problems)
        x, y, z, w = outline.skeleton.joints[0].rotation
        assert x * x + y * y + z * z + w * w == pytest.approx(1.0)


def test_rest_rotations_are_normalised_and_far_ones_noted() -> None:
    outline = outline_of_document(_document([{"rotation": [0, 0, 2, 0]}, {"rotation": [0, 0, 0, 0]}]))
    assert outline.skeleton.joints[0].rotation == (0.0, 0.0, 1.0, 0.0)
    assert outline.skeleton.joints[1].rotation == (0.0, 0.0, 0.0, 1.0)
    assert len(outline.problems) == 2


def test_meshes_say_their_vertices_uv_sets_and_targets() -> None:
    primitive = {"attributes": {"POSITION": 0, "TEXCOORD_0": 1, "TEXCOORD_1": 1}, "targets": [{}, {}, {}]}
    meshes = [
        {"primitives": [primitive, {**primitive, "attributes": {"POSITION": 1}}], "extras": {"targetNames": ["smile"]}},
        {"primitives": [primitive, primitive], "extras": {"targetNames": "wrong"}},
    ]
    accessors = [{"count": 5}, {"count": 7}]
    nodes = [{"name": "face", "mesh": 0, "skin": 0}, {"name": "bone"}]
    document = _document(nodes, meshes=meshes, accessors=accessors, skins=[{"joints": [1], "inverseBindMatrices": 0}])
    outline = outline_of_document(document)
    assert [mesh.name for mesh in outline.meshes] == ["face", "mesh_1"]
    assert [mesh.vertices for mesh in outline.meshes] == [12, 5]  # primitives that share vertices count once
    assert outline.meshes[0].uv_sets == ("TEXCOORD_0", "TEXCOORD_1")
    assert outline.meshes[0].morph_targets == ("smile", "target_1", "target_2")
    assert outline.meshes[1].morph_targets == ("target_0", "target_1", "target_2")
    assert outline.skinned_meshes == outline.meshes[:1]
    assert outline.inverse_binds
    assert outline.morph_targets == ("smile", "target_1", "target_2"), "no node shows the other mesh"
    assert [mesh.nodes for mesh in outline.meshes] == [("face",), ()]


BROKEN: dict[str, tuple[dict[str, Any], str]] = {
    "cycle": (_document([{"children": [1]}, {"children": [0]}]), "below itself"),
    "own child": (_document([{"children": [0]}]), "below itself"),
    "two parents": (_document([{"children": [2]}, {"children": [2]}, {}]), "two parents"),
    "index": (_document([{"children": [9]}]), "there are 1"),
    "index type": (_document([{"children": [True]}]), "whole number"),
    "huge index": (_document([{"children": [10**30]}]), "many digits"),
    "nodes": ({"asset": {"version": "2.0"}, "nodes": 3}, "not an array"),
    "node": (_document([3]), "not an object"),
    "name": (_document([{"name": 3}]), "not a text"),
    "surrogate": (_document([{"name": "\ud800"}]), "Unicode"),
    "numbers": (_document([{"translation": [0, 0]}]), "3 numbers"),
    "huge": (_document([{"scale": [1e300, 1, 1]}]), "usable number"),
    "product": (_document([{"scale": [1e12] * 3, "children": [i + 1] if i < 29 else []} for i in range(30)]), "frame"),
    "joints": (_document([{}], skins=[{"joints": ["a"]}]), "whole number"),
    "target": (_document([{}], animations=[{"channels": [{}]}]), "not an object"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_wrong_values_are_said(name: str) -> None:
    document, words = BROKEN[name]
    if name == "target":
        document = {**document, "skins": [{"joints": [0]}]}
    with pytest.raises(UnreadableModel, match=words):
        outline_of_document(document)


def test_a_deep_hierarchy_is_no_recursion() -> None:
    count = 5000
    nodes = [{"children": [index + 1]} if index < count - 1 else {} for index in range(count)]
    assert len(outline_of_document(_document(nodes)).skeleton.joints) == count


def test_reading_an_outline_loads_neither_numpy_nor_other_large_libraries() -> None:
    code = (
        "import sys; from pathlib import Path; from plica.readers.model_reader import read_outline; "
        "read_outline(Path('tests/data/hand_left.glb')); "
        "print([name for name in ('numpy', 'pygltflib', 'pxr', 'lark', 'pydantic') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
