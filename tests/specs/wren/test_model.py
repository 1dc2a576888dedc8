"""The demo character: what its users rely on, checked on the bytes that are shipped."""

from __future__ import annotations

import importlib
from collections import Counter
from itertools import product

import numpy as np
import pytest

from plica.specs.wren.model import DemoModel, wren
from plica.specs.wren.paint import rasterised
from plica.specs.wren.skeleton import HINGES, mirrored_frame, other_side, wren_skeleton
from plica.specs.wren.skinning import Move, right_pose, skin_matrices, skinned, turn
from plica.specs.wren.vectors import MIRROR, quaternion_from_matrix, rotation_about
from tests.support.wren_files import Array, attribute, files, opened, read, sculpt_paths


@pytest.fixture(scope="module")
def model() -> DemoModel:
    return wren()


# --- the files as a whole -----------------------------------------------------------------------------------


def test_all_files_are_there() -> None:
    images = [
        "masks/brow.png",
        "masks/muzzle.png",
        "masks/forearm.png",
        "maps/relaxed.png",
        "maps/contracted.png",
    ]
    assert set(files()) == {"wren.glb", "clips/rounds.glb", *sculpt_paths(), *images}
    assert all(len(content) < 2_000_000 for content in files().values())
    assert all(len(files()[name]) < 1_200_000 for name in images)


# --- the mesh -----------------------------------------------------------------------------------------------


def test_the_file_holds_one_skinned_mesh_named_skin() -> None:
    document = opened("wren.glb")
    assert document.asset.generator == "plica demo"
    assert [mesh.name for mesh in document.meshes] == ["skin"]
    assert len(document.meshes[0].primitives) == 1
    assert 18_000 <= len(attribute("POSITION")) <= 24_000
    names = [document.nodes[index].name for index in document.skins[0].joints]
    assert tuple(names) == wren_skeleton().names


def test_positions_normals_and_weights_mirror_bit_for_bit(model: DemoModel) -> None:
    positions, normals = attribute("POSITION"), attribute("NORMAL")
    joints, weights = attribute("JOINTS_0"), attribute("WEIGHTS_0")
    flip = np.array([-1, 1, 1], dtype=np.float32)
    assert np.array_equal(positions[model.partner], positions * flip)
    assert np.array_equal(normals[model.partner], normals * flip)
    assert np.array_equal(model.partner[model.partner], np.arange(len(positions)))
    dense = np.zeros((len(positions), len(model.skeleton.joints)), dtype=np.float32)
    np.put_along_axis(dense, joints.astype(np.int64), 0.0, axis=1)
    for slot in range(4):
        dense[np.arange(len(dense)), joints[:, slot]] += weights[:, slot]
    assert np.array_equal(dense[model.partner][:, model.skeleton.partners], dense)


def test_symmetry_is_found_from_the_file_alone() -> None:
    places = {tuple(place) for place in attribute("POSITION").tolist()}
    assert all((-x, y, z) in places for x, y, z in places)
    assert sum(x == 0.0 for x, _, _ in places) > 100
    assert min(abs(x) for x, _, _ in places if x != 0.0) > 1e-4


def test_triangles_mirror_too(model: DemoModel) -> None:
    welded = model.welded
    partner = np.zeros(welded.max() + 1, dtype=np.int64)
    partner[welded] = welded[model.partner]

    def turned(triangle: tuple[int, ...]) -> tuple[int, ...]:
        first = triangle.index(min(triangle))
        return triangle[first:] + triangle[:first]

    triangles = {turned(tuple(row)) for row in welded[model.triangles].tolist()}
    reflected = {turned(tuple(row)) for row in partner[welded[model.triangles]][:, [0, 2, 1]].tolist()}
    assert triangles == reflected


def test_the_surface_is_closed_and_consistently_wound(model: DemoModel) -> None:
    triangles = model.welded[model.triangles]
    ways = Counter(
        (int(a), int(b)) for triangle in triangles for a, b in zip(triangle, np.roll(triangle, -1), strict=True)
    )
    assert set(ways.values()) == {1}
    assert all((b, a) in ways for a, b in ways)
    vertices, edges, faces = model.welded.max() + 1, len(ways) // 2, len(triangles)
    assert vertices - edges + faces == 2  # one piece without handles


def test_normals_face_outward_and_the_volume_is_an_otters(model: DemoModel) -> None:
    corners = model.positions[model.triangles]
    volume = np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0
    assert 0.02 < volume < 0.06
    flat = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert np.linalg.norm(flat, axis=1).min() > 1e-9
    agreement = np.einsum("ij,ij->i", flat, model.normals[model.triangles].sum(axis=1))
    assert np.mean(agreement > 0.0) > 0.999
    assert np.allclose(np.linalg.norm(attribute("NORMAL"), axis=1), 1.0, atol=1e-6)


def test_trimesh_agrees_that_the_surface_is_watertight(model: DemoModel) -> None:
    try:
        trimesh = importlib.import_module("trimesh")
    except ImportError:
        pytest.skip("trimesh is not installed; the closedness test above stands alone")
    first = np.unique(model.welded, return_index=True)[1]
    mesh = trimesh.Trimesh(model.positions[first], model.welded[model.triangles], process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert 0.02 < mesh.volume < 0.06


def test_weights_add_up_to_one_and_name_a_joint_once() -> None:
    joints, weights = attribute("JOINTS_0"), attribute("WEIGHTS_0")
    assert np.all(weights >= 0.0)
    assert np.abs(weights.sum(axis=1) - 1.0).max() < 3e-7
    assert np.all(joints[weights == 0.0] == 0)
    for row, shares in zip(joints.tolist(), weights.tolist(), strict=True):
        used = [joint for joint, share in zip(row, shares, strict=True) if share > 0.0]
        assert len(used) == len(set(used))


def test_every_bending_joint_moves_skin(model: DemoModel) -> None:
    moved = {model.skeleton.names[joint] for joint in np.unique(model.joints[model.weights > 0.0])}
    assert set(model.skeleton.names) - moved <= {"root"}


# --- texture layout -----------------------------------------------------------------------------------------


def test_texture_layout_is_inside_unique_and_mirrored(model: DemoModel) -> None:
    coordinates = attribute("TEXCOORD_0").astype(np.float64)
    assert coordinates.min() >= 0.0
    assert coordinates.max() <= 1.0
    mirrored = np.stack([1.0 - coordinates[:, 0], coordinates[:, 1]], axis=1)
    assert np.allclose(coordinates[model.partner], mirrored, atol=1e-7)
    corners = coordinates[model.triangles]
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    areas = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    assert np.abs(areas).min() > 0.0
    assert 0.3 < np.abs(areas).sum() / 2.0 < 1.0


def test_no_two_triangles_share_a_texel(model: DemoModel) -> None:
    size = 1024
    coordinates, triangles = model.texture_coordinates, model.triangles
    area = 0
    for part in np.array_split(np.arange(len(triangles)), 16):
        area += int(rasterised(coordinates, triangles[part], size).covered.sum())
    covered = int(rasterised(coordinates, triangles, size).covered.sum())
    assert area - covered <= covered * 1e-3  # only middles that lie on a shared edge count twice


def test_islands_keep_a_gutter(model: DemoModel) -> None:
    size = 1024
    raster = rasterised(model.texture_coordinates, model.triangles, size)
    island = _islands(model)[model.triangles[:, 0]]
    label = np.where(raster.covered, island[np.maximum(raster.triangle, 0)], -1)
    for rows, columns in product(range(-3, 4), repeat=2):
        other = np.roll(label, (rows, columns), axis=(0, 1))
        both = (label >= 0) & (other >= 0)
        assert np.array_equal(label[both], other[both])


def _islands(model: DemoModel) -> Array:
    """A label for each vertex: the connected piece of the texture layout."""
    label = np.arange(len(model.positions))
    while True:
        least = label[model.triangles].min(axis=1)
        following = label.copy()
        np.minimum.at(following, model.triangles.ravel(), np.repeat(least, 3))
        following = following[following]
        if np.array_equal(following, label):
            return label
        label = following


# --- skeleton and skinning ----------------------------------------------------------------------------------


def test_joints_mirror_in_place() -> None:
    skeleton = wren_skeleton()
    for joint in skeleton.joints:
        assert np.array_equal(skeleton[other_side(joint.name)].place, MIRROR @ joint.place)
        assert np.allclose(joint.frame @ joint.frame.T, np.eye(3), atol=1e-12)
        assert np.linalg.det(joint.frame) == pytest.approx(1.0)


def test_most_right_frames_are_no_axis_flip_of_the_left_ones() -> None:
    skeleton = wren_skeleton()
    left = [joint for joint in skeleton.joints if joint.name.endswith("_lf")]
    odd = 0
    for joint in left:
        relation = mirrored_frame(joint.frame).T @ skeleton[other_side(joint.name)].frame
        odd += bool(np.abs(relation).max(axis=0).min() < 0.999)
    assert len(left) == 23
    assert odd >= len(left) / 2


def test_the_file_rests_in_its_bind_pose(model: DemoModel) -> None:
    document = opened("wren.glb")
    skin = document.skins[0]
    inverse = read("wren.glb", skin.inverseBindMatrices).reshape(-1, 4, 4).transpose(0, 2, 1).astype(np.float64)
    world: dict[int, Array] = {}

    def visit(index: int, above: Array) -> None:
        node = document.nodes[index]
        x, y, z, w = node.rotation or (0.0, 0.0, 0.0, 1.0)
        angle = 2.0 * np.arctan2(np.linalg.norm([x, y, z]), w)
        local = np.eye(4)
        if angle != 0.0:
            local[:3, :3] = rotation_about((x, y, z), float(np.degrees(angle)))
        local[:3, 3] = node.translation or (0.0, 0.0, 0.0)
        world[index] = above @ local
        for child in node.children or ():
            visit(child, world[index])

    for root in document.scenes[0].nodes:
        visit(root, np.eye(4))
    matrices = np.array([world[joint] for joint in skin.joints]) @ inverse
    assert np.abs(matrices - np.eye(4)).max() < 1e-6
    blend = np.einsum("ns,nsij->nij", model.weights, matrices[model.joints])
    posed = np.einsum("nij,nj->ni", blend[:, :3, :3], model.positions) + blend[:, :3, 3]
    assert np.abs(posed - attribute("POSITION")).max() < 1e-6
    assert np.abs(skinned(model, {}) - attribute("POSITION")).max() < 1e-7


def test_mirrored_poses_give_mirrored_skin(model: DemoModel) -> None:
    pose = {
        "upperarm_lf": turn(("x", -35.0), ("y", 20.0), ("z", 15.0)),
        "lowerarm_lf": turn(("x", 95.0)),
        "index_1_lf": turn(("z", 70.0)),
        "lowerleg_lf": turn(("x", 60.0)),
        "whiskerpad_lf": Move(offset=np.array([0.001, 0.004, -0.002])),
    }
    left, right = skinned(model, pose), skinned(model, right_pose(pose, model.skeleton))
    assert np.abs(left[model.partner] @ MIRROR - right).max() < 1e-6
    assert np.abs(left - model.positions).max() > 0.05


@pytest.mark.parametrize("name", sorted(HINGES))
def test_hinges_flex_the_right_way(name: str) -> None:
    """A positive turn brings the tip of the limb towards the side it folds to."""
    skeleton = wren_skeleton()
    joint = skeleton[f"{name}_lf"]
    axis, _ = HINGES[name]
    moved = skin_matrices(skeleton, {joint.name: turn((axis, 40.0))})[skeleton.number[joint.name]]
    tip = joint.place + 0.05 * joint.frame[:, 1]
    change = moved[:3, :3] @ tip + moved[:3, 3] - tip
    palm = -skeleton["paw_lf"].frame[:, 0]
    ways = {"lowerarm": np.array([0.0, 0.0, 1.0]), "lowerleg": np.array([0.0, 0.0, -1.0])}
    upward = np.array([0.0, 1.0, 0.0])
    way = ways.get(name, upward if name in ("foot", "toes") else palm)
    assert change @ way > 0.02


def test_the_jaw_opens_downward(model: DemoModel) -> None:
    change = skinned(model, {"jaw": turn(("x", 15.0))}) - model.positions
    chin = model.weights[:, 0] > 0.8
    chin &= model.joints[:, 0] == model.skeleton.number["jaw"]
    assert chin.sum() > 50
    assert change[chin, 1].max() < 0.0


def test_quaternions_agree_with_scipy() -> None:
    rotation = pytest.importorskip("scipy.spatial.transform").Rotation
    for seed in range(50):
        matrix = rotation.random(rng=np.random.default_rng(seed)).as_matrix()
        expected = rotation.from_matrix(matrix).as_quat(canonical=True)
        assert np.allclose(quaternion_from_matrix(matrix), expected, atol=1e-12)
