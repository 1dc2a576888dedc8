"""What shapes do to the normals that a file stores: closed forms on a box, and a real character against trimesh."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import trimesh

from plica.mesh.arrays import Floats, Mesh
from plica.mesh.gltf_mesh import read_gltf_mesh
from plica.mesh.normals import Normals, OwnNormals, smooth_groups
from plica.readers.model_reader import read_outline
from tests.support.data import shared_data
from tests.support.meshes import bare_mesh


def hard_box() -> Mesh:
    """A cube with the corners of each face for itself, as files store hard edges; normals are the faces'."""
    corners, triangles, normals, points = [], [], [], []
    for axis in range(3):
        for sign in (-1.0, 1.0):
            first = len(corners)
            one, two = np.eye(3)[(axis + 1) % 3], np.eye(3)[(axis + 2) % 3]
            out = sign * np.eye(3)[axis]
            for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
                corner = out + a * one + b * two
                corners.append(corner)
                normals.append(out)
                points.append(int((corner > 0.0) @ (1, 2, 4)))
            turn = (0, 1, 2, 0, 2, 3) if sign > 0.0 else (0, 2, 1, 0, 3, 2)
            triangles += [[first + turn[k] for k in range(3)], [first + turn[k] for k in range(3, 6)]]
    mesh = bare_mesh(np.array(corners), np.array(triangles))
    return replace(mesh, normals=np.array(normals), points=np.array(points))


def unit(vectors: Floats) -> Floats:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=1, keepdims=True))


def degrees(one: Floats, other: Floats) -> Floats:
    return np.degrees(np.arctan2(np.linalg.norm(np.cross(one, other), axis=1), (one * other).sum(axis=1)))


def test_a_boxs_hard_edges_stay_hard() -> None:
    """Under any affine map a flat face's normal goes by the inverse transpose: its edges stay as hard as they were."""
    box = hard_box()
    own, random = OwnNormals(box), np.random.default_rng(2)
    for _ in range(5):
        affine = np.eye(3) + random.uniform(-0.4, 0.4, (3, 3))
        found = own.normals + own.changes(box.positions @ affine.T)
        np.testing.assert_allclose(unit(found), unit(own.normals @ np.linalg.inv(affine)), atol=1e-12)
        np.testing.assert_allclose(np.linalg.norm(found, axis=1), 1.0, atol=1e-12)
    assert np.abs(own.changes(box.positions)).max() == 0.0
    smoothed = Normals(box).of(box.positions)
    assert degrees(smoothed, own.normals).min() > 30.0  # what normals of welded points would make of it


def test_a_face_that_is_turned_over_turns_its_normals_over() -> None:
    box = hard_box()
    own = OwnNormals(box)
    turned = box.positions * (-1.0, -1.0, 1.0)  # half a turn about z
    np.testing.assert_allclose(own.normals + own.changes(turned), own.normals * (-1.0, -1.0, 1.0), atol=1e-12)


def test_copies_with_one_normal_turn_together_and_others_apart() -> None:
    points = np.array([0, 0, 1, 0, 1, 1])
    normals = np.array([[0, 0, 1], [0, 1, 0], [1, 0, 0], [0, 0, 1], [1, 0, 0], [0.9999, 0.0141, 0]], dtype=np.float64)
    groups = smooth_groups(points, normals)
    assert groups[0] == groups[3] != groups[1]
    assert groups[2] == groups[4] == groups[5]
    assert sorted(set(groups.tolist())) == [0, 1, 2]


def test_without_normals_in_the_file_they_are_those_of_the_surface() -> None:
    box = replace(hard_box(), normals=None)
    own = OwnNormals(box)
    np.testing.assert_array_equal(own.normals, Normals(box).of(box.positions))


def test_a_real_characters_normals_turn_as_trimesh_has_them() -> None:
    """A body that swells and leans: every normal of the file turns as trimesh's normals of the surface around it turn.

    trimesh is given the mesh cut at its hard edges, and its faces' normals and areas are added up at each corner. Its
    own vertex normals weigh faces by their angles, which on coarse skin is another direction: they must be near.
    """
    path = shared_data("characters", "mannequin", "mannequin.gltf")
    mesh = read_gltf_mesh(path, [joint.name for joint in read_outline(path).skeleton.joints])
    assert mesh.normals is not None
    height = mesh.positions[:, 1:2] - mesh.positions[:, 1].min()
    moved = mesh.positions * (1.0 + 0.15 * np.sin(3.0 * height)) + np.outer(0.1 * height[:, 0] ** 2, (0.6, 0.0, 0.8))
    found = unit(mesh.normals + OwnNormals(mesh).changes(moved))
    groups = smooth_groups(mesh.points, mesh.normals)
    firsts = np.unique(groups, return_index=True)[1]
    cut = [trimesh.Trimesh(one[firsts], groups[mesh.triangles], process=False, validate=False)
           for one in (mesh.positions, moved)]  # fmt: skip

    def turned(before: Floats, after: Floats) -> Floats:
        axis, cosine = np.cross(before, after), (before * after).sum(axis=1, keepdims=True)
        along = np.cross(axis, mesh.normals)
        return unit(mesh.normals + along + np.cross(axis, along) / (1.0 + cosine))

    def by_areas(body: trimesh.Trimesh) -> Floats:
        sums = np.zeros_like(body.vertices)
        np.add.at(sums, body.faces.reshape(-1), np.repeat(body.face_normals * body.area_faces[:, None], 3, axis=0))
        return unit(sums)[groups]

    before, after = map(by_areas, cut)
    assert np.median(degrees(before, after)) > 3.0
    assert degrees(found, turned(before, after)).max() < 1e-6
    by_angles = degrees(found, turned(*(np.asarray(body.vertex_normals)[groups] for body in cut)))
    assert np.median(by_angles) < 0.5
    assert np.percentile(by_angles, 99.0) < 10.0
    # Those of welded points are not the file's: adding what they change by would not even keep it where nothing moves.
    assert np.median(degrees(Normals(mesh).of(mesh.positions), mesh.normals)) > 20.0
    assert np.median(degrees(before, mesh.normals)) < 3.0
