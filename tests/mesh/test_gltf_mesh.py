"""Meshes read from glTF: primitives, modes, skins, morph targets, and what is put right."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from plica.mesh.arrays import Mesh
from plica.mesh.mesh_reader import read_mesh
from plica.readers.model_outline import UnreadableModel
from tests.support.meshes import Buffers

SQUARE = [(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 1.0, 0.0)]
JOINTS = ("hip", "knee")


def two_joints(primitives: list[dict[str, Any]], **mesh: Any) -> dict[str, Any]:
    """A document with two joints and a skinned mesh `skin` on a node that stands elsewhere."""
    return {
        "nodes": [
            {"name": "hip", "children": [1]},
            {"name": "knee", "translation": [0, 1, 0]},
            {"mesh": 0, "skin": 0, "translation": [5, 5, 5]},
        ],
        "skins": [{"joints": [1, 0]}],
        "meshes": [{"name": "skin", "primitives": primitives, **mesh}],
    }


def skinned(buffers: Buffers, weights: Any, joints: Any = ((0, 1, 0, 0),) * 4, **more: Any) -> dict[str, Any]:
    """A primitive of a square's four corners."""
    attributes = {
        "POSITION": buffers.add(SQUARE),
        "JOINTS_0": buffers.add(joints, np.uint8),
        "WEIGHTS_0": buffers.add(weights),
    }
    return {
        "attributes": attributes | more.pop("attributes", {}),
        "indices": buffers.add([0, 1, 2, 2, 1, 3], np.uint16),
    } | more


def read(buffers: Buffers, document: dict[str, Any], folder: Path, *meshes: str) -> Mesh:
    return read_mesh(buffers.written(folder / "model.gltf", document), JOINTS, meshes)


HALF = ((0.5, 0.5, 0, 0),) * 4


def test_a_skinned_mesh_stays_in_the_space_of_its_bind_pose(tmp_path: Path) -> None:
    buffers = Buffers()
    weights = ((1, 0, 0, 0), (0, 1, 0, 0), (0.25, 0.75, 0, 0), (0.75, 0.25, 0, 0))
    document = two_joints([skinned(buffers, weights)])
    binds = np.tile(np.eye(4), (2, 1, 1))
    binds[0, :3, 3] = (0, -1, 0)
    document["skins"][0]["inverseBindMatrices"] = buffers.add(binds)
    mesh = read(buffers, document, tmp_path)
    np.testing.assert_array_equal(mesh.positions, SQUARE)
    by_joint = np.zeros((4, 2))
    for column in range(mesh.joints.shape[1]):
        by_joint[np.arange(4), mesh.bind_joints[mesh.joints[:, column]]] += mesh.weights[:, column]
    np.testing.assert_array_equal(by_joint, [(0, 1), (1, 0), (0.75, 0.25), (0.25, 0.75)])
    knee = int(np.flatnonzero(mesh.bind_joints == 1)[0])
    np.testing.assert_array_equal(mesh.inverse_binds[knee], binds[0])
    assert np.all(np.diff(mesh.weights, axis=1) <= 0.0), "the heaviest first"
    assert mesh.problems == ()


def test_every_set_of_weights_counts(tmp_path: Path) -> None:
    buffers = Buffers()
    more = {"JOINTS_1": buffers.add(((1, 0, 0, 0),) * 4, np.uint16), "WEIGHTS_1": buffers.add(((0.5, 0, 0, 0),) * 4)}
    primitive = skinned(buffers, ((0.5, 0, 0, 0),) * 4, attributes=more)
    mesh = read(buffers, two_joints([primitive]), tmp_path)
    np.testing.assert_array_equal(mesh.weights, np.full((4, 2), 0.5))
    assert set(mesh.bind_joints[mesh.joints[0]].tolist()) == {0, 1}


def test_weights_that_do_not_add_up_are_scaled_and_told(tmp_path: Path) -> None:
    buffers = Buffers()
    weights = ((0.5, 0.5, 0, 0), (0.4, 0.4, 0, 0), (1.0, 1.0, 0, 0), (0, 0, 0, 0))
    mesh = read(buffers, two_joints([skinned(buffers, weights)]), tmp_path)
    np.testing.assert_allclose(mesh.weights.sum(axis=1), 1.0, atol=1e-15)
    assert any(
        "2 vertices of `skin` whose weights do not add up to 1 (furthest off: 2)" in told for told in mesh.problems
    )
    assert any("1 vertex of `skin` without any weight" in told for told in mesh.problems)
    assert mesh.bind_joints[mesh.joints[3, 0]] == 0, "the skin's root is the hip"


def test_rounding_of_the_file_is_no_problem(tmp_path: Path) -> None:
    buffers = Buffers()
    thirds = np.full((4, 4), 0.25)
    thirds[:, :3] = np.float32(1.0) / np.float32(3.0)
    thirds[:, 3] = 0.0
    mesh = read(buffers, two_joints([skinned(buffers, thirds, ((0, 1, 1, 0),) * 4)]), tmp_path)
    assert mesh.problems == ()


def test_negative_weights_are_told(tmp_path: Path) -> None:
    buffers = Buffers()
    mesh = read(buffers, two_joints([skinned(buffers, ((1.0, -0.5, 0, 0),) * 4)]), tmp_path)
    assert "4 vertices of `skin` with negative weights" in mesh.problems[0]
    np.testing.assert_array_equal(mesh.weights, np.ones((4, 1)))


@pytest.mark.parametrize(
    ("mode", "indices", "expected"),
    [
        (4, None, [(0, 1, 2)]),
        (5, [0, 1, 2, 3], [(0, 1, 2), (1, 3, 2)]),
        (5, [0, 1, 2, 2, 3], [(0, 1, 2)]),  # the strip turns round over two triangles without an area
        (6, [0, 1, 3, 2], [(1, 3, 0), (3, 2, 0)]),
    ],
)
def test_modes(mode: int, indices: list[int] | None, expected: list[tuple[int, int, int]], tmp_path: Path) -> None:
    # glTF 2.0 section 3.7.2.1: strip i, i+(1+i%2), i+(2-i%2); fan i+1, i+2, 0
    buffers = Buffers()
    primitive: dict[str, Any] = {
        "attributes": {"POSITION": buffers.add(SQUARE[:3] if indices is None else SQUARE)},
        "mode": mode,
    }
    if indices is not None:
        primitive["indices"] = buffers.add(indices, np.uint8)
    mesh = read(buffers, {"nodes": [{"mesh": 0}], "meshes": [{"primitives": [primitive]}]}, tmp_path)
    assert mesh.triangles.tolist() == [list(triangle) for triangle in expected]


@pytest.mark.parametrize(("mode", "told"), [(0, "points"), (1, "lines"), (3, "line strips"), (7, "mode 7")])
def test_other_modes_are_refused(mode: int, told: str, tmp_path: Path) -> None:
    buffers = Buffers()
    with pytest.raises(UnreadableModel, match=told):
        read(buffers, two_joints([skinned(buffers, HALF, mode=mode)]), tmp_path)


def test_primitives_follow_each_other_and_shared_vertices_come_once(tmp_path: Path) -> None:
    buffers = Buffers()
    first = skinned(buffers, HALF)
    second = {"attributes": first["attributes"], "indices": buffers.add([0, 3, 1], np.uint16)}
    third = skinned(buffers, HALF)
    mesh = read(buffers, two_joints([first, second, third]), tmp_path)
    assert [(part.primitives, part.start, part.count) for part in mesh.parts] == [((0, 1), 0, 4), ((2,), 4, 4)]
    assert mesh.triangles.tolist() == [[0, 1, 2], [2, 1, 3], [0, 3, 1], [4, 5, 6], [6, 5, 7]]
    assert mesh.points.tolist() == [0, 1, 2, 3, 0, 1, 2, 3], "the primitives of one mesh share their points"


def test_morph_targets_by_name_sparse_and_with_normals(tmp_path: Path) -> None:
    buffers = Buffers()
    moved = buffers.add(np.zeros((4, 3)))
    del buffers.accessors[moved]["bufferView"]
    buffers.accessors[moved]["sparse"] = {
        "count": 1,
        "indices": {"bufferView": buffers.view(np.array([2], "<u2")), "componentType": 5123},
        "values": {"bufferView": buffers.view(np.array([(0, 0, 0.5)], "<f4"))},
    }
    turned = buffers.add([(0, 0, 0), (0, 0, 0), (0, 1, 0), (0, 0, 0)])
    normals = {"NORMAL": buffers.add([(0, 0, 1)] * 4)}
    targets = [{"POSITION": moved, "NORMAL": turned}, {"NORMAL": turned}]
    primitive = skinned(buffers, HALF, attributes=normals, targets=targets)
    mesh = read(buffers, two_joints([primitive], extras={"targetNames": ["smile"]}, weights=[0.5, 0]), tmp_path)
    assert list(mesh.morphs) == ["smile", "target_1"]
    smile, other = mesh.morphs.values()
    assert smile.indices.tolist() == [2] and smile.offsets.tolist() == [[0, 0, 0.5]]
    assert smile.normals is not None and smile.normals.tolist() == [[0, 1, 0]]
    assert other.offsets.tolist() == [[0, 0, 0]]
    assert any("morph targets on" in told for told in mesh.problems)


def test_meshes_of_several_skins_share_binds_that_are_the_same(tmp_path: Path) -> None:
    buffers = Buffers()
    one, other = skinned(buffers, HALF), skinned(buffers, HALF)
    document = two_joints([one])
    document["meshes"].append({"name": "shoes", "primitives": [other]})
    moved = np.tile(np.eye(4), (2, 1, 1))
    moved[1, 0, 3] = 2.0
    document["skins"].append({"joints": [1, 0], "inverseBindMatrices": buffers.add(moved)})
    document["nodes"].append({"mesh": 1, "skin": 1})
    mesh = read(buffers, document, tmp_path)
    assert mesh.bind_joints.tolist().count(1) == 1 and mesh.bind_joints.tolist().count(0) == 2
    hips = {tuple(mesh.inverse_binds[bind][:3, 3]) for bind in np.flatnonzero(mesh.bind_joints == 0)}
    assert hips == {(0, 0, 0), (2, 0, 0)}
    assert mesh.point_count == 8, "different meshes share no points"
    assert read(buffers, document, tmp_path, "shoes").vertex_count == 4


def test_a_mesh_without_a_skin_goes_with_the_joint_above(tmp_path: Path) -> None:
    buffers = Buffers()
    document = two_joints([skinned(buffers, HALF)])
    document["meshes"].append({"name": "badge", "primitives": [{"attributes": {"POSITION": buffers.add(SQUARE[:3])}}]})
    document["nodes"][1]["children"] = [3]
    document["nodes"].append({"translation": [1, 0, 0], "scale": [-2, 1, 1], "mesh": 1})
    mesh = read(buffers, document, tmp_path, "badge")
    np.testing.assert_allclose(mesh.positions, [(1, 1, 0), (-1, 1, 0), (1, 2, 0)])
    assert mesh.triangles.tolist() == [[2, 1, 0]], "mirrored, so turned over"
    assert mesh.bind_joints.tolist() == [1]
    np.testing.assert_allclose(mesh.inverse_binds[0][:3, 3], (0, -1, 0))


def test_a_part_without_a_skin_stands_where_the_bind_pose_puts_its_joint(tmp_path: Path) -> None:
    buffers = Buffers()
    document = two_joints([skinned(buffers, HALF)])
    binds = np.tile(np.eye(4), (2, 1, 1))
    binds[0, :3] = [(0, 1, 0, -1), (-1, 0, 0, 0), (0, 0, 1, 0)]  # of the knee, which is not turned at rest
    document["skins"][0]["inverseBindMatrices"] = buffers.add(binds)
    target = {"POSITION": buffers.add([(0, 0, 1)] * 3)}
    badge = {"attributes": {"POSITION": buffers.add(SQUARE[:3])}, "targets": [target]}
    document["meshes"].append({"name": "badge", "primitives": [badge], "extras": {"targetNames": ["shine"]}})
    document["nodes"][1]["children"] = [3]
    document["nodes"].append({"name": "pin", "rotation": [0.5**0.5, 0, 0, 0.5**0.5], "mesh": 1})
    mesh = read(buffers, document, tmp_path)
    assert mesh.vertex_count == 7 and mesh.problems == ()
    np.testing.assert_allclose(mesh.positions[4:], [(0, 1, 0), (0, 2, 0), (0, 1, 1)], atol=1e-12)
    assert mesh.weights[4:, 0].tolist() == [1, 1, 1] and not mesh.weights[4:, 1:].any()
    carrier = mesh.joints[4, 0]
    assert mesh.bind_joints[carrier] == 1
    np.testing.assert_allclose(mesh.inverse_binds[carrier], binds[0], atol=1e-12)
    np.testing.assert_allclose(mesh.morphs["shine"].offsets, [(1, 0, 0)] * 3, atol=1e-12)
    assert mesh.morphs["shine"].indices.tolist() == [4, 5, 6]
    part = mesh.parts[1]
    assert (part.mesh, part.node, part.primitives, part.start, part.count) == ("badge", "pin", (0,), 4, 3)
    alone = read(buffers, document, tmp_path, "pin")
    np.testing.assert_allclose(alone.positions, mesh.positions[4:])


def test_one_mesh_on_two_joints_is_skin_of_each(tmp_path: Path) -> None:
    buffers = Buffers()
    document = two_joints([skinned(buffers, HALF)])
    document["meshes"].append({"name": "eye", "primitives": [{"attributes": {"POSITION": buffers.add(SQUARE[:3])}}]})
    document["nodes"][0]["children"] = [1, 3]
    document["nodes"][1]["children"] = [4]
    document["nodes"] += [{"name": "eye_lf", "mesh": 1}, {"name": "eye_rt", "mesh": 1}]
    mesh = read(buffers, document, tmp_path)
    assert [(part.mesh, part.node, part.start, part.count) for part in mesh.parts[1:]] == [
        ("eye", "eye_lf", 4, 3),
        ("eye", "eye_rt", 7, 3),
    ]
    assert [int(mesh.bind_joints[mesh.joints[row, 0]]) for row in (4, 7)] == [0, 1]
    assert mesh.point_count == 10, "what is shown twice is not one surface"


def test_targets_that_some_primitives_lack_leave_those_alone(tmp_path: Path) -> None:
    buffers = Buffers()
    moved = {"POSITION": buffers.add([(0, 0, 0.5)] * 4)}
    primitives = [skinned(buffers, HALF), skinned(buffers, HALF, targets=[moved, moved])]
    document = two_joints(primitives, extras={"targetNames": ["smile", "frown"]})
    mesh = read(buffers, document, tmp_path)
    assert list(mesh.morphs) == ["smile", "frown"]
    assert mesh.morphs["smile"].indices.tolist() == [4, 5, 6, 7]
    assert any("not all primitives" in told for told in mesh.problems)


def test_lines_beside_triangles_are_left_out(tmp_path: Path) -> None:
    buffers = Buffers()
    mesh = read(buffers, two_joints([skinned(buffers, HALF, mode=3), skinned(buffers, HALF)]), tmp_path)
    assert [(part.primitives, part.start, part.count) for part in mesh.parts] == [((1,), 0, 4)]
    assert any("points or lines" in told for told in mesh.problems)


@pytest.mark.parametrize("narrow", [(0.5, 0.25, 0.125, 0.125), (4, 2, 1, 1)], ids=["unnormalised", "whole numbers"])
def test_weights_in_two_sets_and_of_any_sum_are_brought_to_one(narrow: tuple[float, ...], tmp_path: Path) -> None:
    buffers = Buffers()
    more = {"JOINTS_1": buffers.add(((1, 0, 0, 0),) * 4, np.uint8), "WEIGHTS_1": buffers.add((narrow,) * 4)}
    mesh = read(buffers, two_joints([skinned(buffers, HALF, attributes=more)]), tmp_path)
    assert mesh.weights.sum(axis=1).tolist() == pytest.approx([1.0] * 4)
    total = 1.0 + sum(narrow)
    held = {int(mesh.bind_joints[bind]): 0.0 for bind in np.unique(mesh.joints)}
    for bind, weight in zip(mesh.joints[0], mesh.weights[0], strict=True):
        held[int(mesh.bind_joints[bind])] += float(weight)
    assert held == pytest.approx({1: (0.5 + sum(narrow[1:])) / total, 0: (0.5 + narrow[0]) / total})
    assert len(mesh.problems) == 1


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"JOINTS_0": [(0, 7, 0, 0)] * 4}, "joint 7"),
        ({"WEIGHTS_0": [(1, 0, 0, 0)] * 3}, "for 3 vertices"),
        ({"POSITION": [(0.0, 0.0)] * 4}, "3 numbers"),
        ({"TEXCOORD_0": [(0.0, 0.0, 0.0)] * 4}, "2 numbers"),
        ({"POSITION": [(1e30, 0.0, 0.0)] * 4}, "no usable number"),
    ],
)
def test_wrong_attributes_are_refused(change: dict[str, Any], told: str, tmp_path: Path) -> None:
    buffers = Buffers()
    own = {key: buffers.add(values, np.uint8 if key == "JOINTS_0" else np.float32) for key, values in change.items()}
    with pytest.raises(UnreadableModel, match=told):
        read(buffers, two_joints([skinned(buffers, HALF, attributes=own)]), tmp_path)


def test_indices_out_of_range_and_missing_meshes_are_refused(tmp_path: Path) -> None:
    buffers = Buffers()
    primitive = skinned(buffers, HALF) | {"indices": buffers.add([0, 1, 9], np.uint16)}
    with pytest.raises(UnreadableModel, match="vertex 9"):
        read(buffers, two_joints([primitive]), tmp_path)
    with pytest.raises(UnreadableModel, match="`hat`"):
        read(buffers, two_joints([primitive]), tmp_path, "hat")
    with pytest.raises(UnreadableModel, match="no vertices"):
        read(buffers, {"nodes": [], "meshes": []}, tmp_path)
