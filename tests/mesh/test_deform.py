"""The whole way from poses to positions."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from plica.evaluate import Evaluator, rest_poses
from plica.mesh.arrays import Floats, Mesh, Offsets
from plica.mesh.deform import Deformer, Motion
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.normals import Normals
from plica.mesh.skinning import Skinning
from plica.values import SkinningMethod
from tests.support.meshes import bare_mesh, bilateral
from tests.support.skins import dense, random_character, random_poses

METHODS: tuple[SkinningMethod, ...] = ("linear", "dual quaternion")


def straight(mesh: Mesh, shapes: dict[str, Inbetweens], motion: Motion, method: SkinningMethod) -> Floats:
    """The definition: shapes, one frame and shape after the other, then every vertex's matrix."""
    result = np.empty((len(motion.strengths), mesh.vertex_count, 3))
    matrices = Skinning(mesh).matrices(motion.skins, method)
    for frame, strengths in enumerate(motion.strengths):
        places = mesh.positions.copy()
        for shape, w in zip(shapes.values(), strengths, strict=True):
            ends = [(0.0, np.zeros_like(places)), (1.0, dense(shape.primary, len(places)))]
            ends += [(at, dense(each, len(places))) for at, each in zip(shape.at, shape.offsets, strict=True)]
            ends.sort(key=lambda end: end[0])
            upper = next((number for number in range(1, len(ends)) if w < ends[number][0]), len(ends) - 1)
            (low, first), (high, second) = ends[upper - 1], ends[upper]
            share = (w - low) / (high - low)
            places += first * (1 - share) + second * share
        result[frame] = np.einsum("vij,vj->vi", matrices[frame, :, :, :3], places) + matrices[frame, :, :, 3]
    return result


@pytest.mark.parametrize("method", METHODS)
def test_positions_are_what_the_definition_says(method: SkinningMethod) -> None:
    rig, mesh, shapes = random_character(3, 700, 12, 40)
    deformer = Deformer(mesh, rig, shapes)
    poses = random_poses(rig, 9)
    motion = deformer.motion(poses)
    assert motion.strengths.any(axis=0).sum() > 4
    expected = straight(mesh, shapes, motion, method)
    for block in deformer.positions(poses, method):
        part = expected[block.start : block.start + len(block.positions)]
        np.testing.assert_allclose(block.positions, part, atol=1e-12)
    wild = Motion(np.random.default_rng(0).uniform(-2, 2, motion.strengths.shape), motion.skins)
    (block,) = deformer.positions(wild, method)
    np.testing.assert_allclose(block.positions, straight(mesh, shapes, wild, method), atol=1e-12)


@pytest.mark.parametrize("method", METHODS)
def test_blocks_of_any_size_hold_the_same(method: SkinningMethod) -> None:
    rig, mesh, shapes = random_character(6, 300, 6, 20)
    deformer = Deformer(mesh, rig, shapes)
    poses = random_poses(rig, 150)
    (whole,) = deformer.positions(poses, method)
    for size in (1, 24 * 300 * 7, 24 * 300 * 128):
        blocks = list(deformer.positions(poses, method, block_bytes=size))
        assert [block.start for block in blocks] == list(range(0, 150, max(1, size // (24 * 300))))
        np.testing.assert_array_equal(np.concatenate([block.positions for block in blocks]), whole.positions)


@pytest.mark.parametrize("method", METHODS)
def test_a_part_is_posed_as_in_the_whole_to_the_last_bit(method: SkinningMethod) -> None:
    rig, mesh, shapes = random_character(6, 300, 6, 20)
    deformer, vertices = Deformer(mesh, rig, shapes), np.array([3, 4, 90, 200, 299])
    motion = deformer.motion(random_poses(rig, 20))
    (whole,) = deformer.positions(motion, method)
    (part,) = deformer.part(vertices).positions(motion, method)
    np.testing.assert_array_equal(part.positions, whole.positions[:, vertices])


def test_other_shapes_on_the_same_mesh() -> None:
    rig, mesh, shapes = random_character(3, 100, 4, 10)
    poses, other = random_poses(rig, 4), {"shape_2": shapes["shape_2"]}
    (expected,) = Deformer(mesh, rig, other).positions(poses)
    deformer = Deformer(mesh, rig, shapes)
    (result,) = deformer.with_shapes(other).positions(poses)
    np.testing.assert_array_equal(result.positions, expected.positions)
    with pytest.raises(ValueError, match="a part of a mesh"):
        deformer.part(np.arange(4)).with_shapes(other)


def test_shapes_follow_their_strengths() -> None:
    rig, mesh, shapes = random_character(3, 100, 4, 10)
    kept = {name: shapes[name] for name in ("shape_2", "shape_0")}
    deformer = Deformer(mesh, rig, kept)
    poses = random_poses(rig, 6)
    evaluator = Evaluator(rig)
    strengths = evaluator.strengths(poses)
    result = deformer.motion(poses).strengths
    for column, name in enumerate(kept):
        follows = next(shape.follows for shape in rig.shapes if shape.name == name)
        assert follows is not None
        np.testing.assert_array_equal(result[:, column], strengths[:, evaluator.names.index(follows)])


def test_a_shape_that_follows_nothing_stays_off() -> None:
    rig, mesh, shapes = random_character(3, 100, 1, 10)
    rig = rig._replace(shapes=(rig.shapes[0]._replace(follows=None),))
    deformer = Deformer(mesh, rig, shapes)
    assert not deformer.motion(random_poses(rig, 4)).strengths.any()
    (block,) = deformer.positions(rest_poses(rig))
    np.testing.assert_allclose(block.positions[0], mesh.positions, atol=1e-12)


def test_offsets_are_those_of_the_shapes_alone() -> None:
    rig, mesh, shapes = random_character(3, 100, 3, 10)
    deformer = Deformer(mesh, rig, shapes)
    strengths = np.eye(3)
    motion = Motion(strengths, np.zeros((3, deformer.skinning.binds, 3, 4)))
    for result, shape in zip(deformer.offsets(motion), shapes.values(), strict=True):
        np.testing.assert_array_equal(result, dense(shape.primary, 100))


def test_memory_stays_within_the_block() -> None:
    rig, mesh, shapes = random_character(3, 4000, 10, 200)
    deformer = Deformer(mesh, rig, shapes)
    poses = random_poses(rig, 400)
    frame = 24 * mesh.vertex_count
    tracemalloc.start()
    for block in deformer.positions(poses, block_bytes=10 * frame):
        assert len(block.positions) == 10
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # all frames would take 400; two blocks are alive at most, and the shapes cut into pieces
    assert peak < 60 * frame


def test_no_frames_no_blocks() -> None:
    rig, mesh, shapes = random_character(3, 100, 1, 10)
    assert list(Deformer(mesh, rig, shapes).positions(random_poses(rig, 0))) == []


def test_what_does_not_fit_is_refused() -> None:
    rig, mesh, shapes = random_character(3, 100, 2, 10)
    with pytest.raises(ValueError, match="no shape brow"):
        Deformer(mesh, rig, {"brow": shapes["shape_0"]})
    lost = rig._replace(shapes=(rig.shapes[0]._replace(follows="frown"),))
    with pytest.raises(ValueError, match="no strength frown, which shape_0 follows"):
        Deformer(mesh, lost, {"shape_0": shapes["shape_0"]})
    deformer = Deformer(mesh, rig, shapes)
    skins = deformer.motion(rest_poses(rig)).skins
    with pytest.raises(ValueError, match="strengths must have the shape"):
        list(deformer.positions(Motion(np.zeros((1, 3)), skins)))
    with pytest.raises(ValueError, match="skins must have the shape"):
        list(deformer.positions(Motion(np.zeros((2, 2)), skins)))


def test_offsets_beyond_the_mesh_are_refused() -> None:
    rig, mesh, _ = random_character(3, 100, 1, 10)
    with pytest.raises(ValueError, match=r"index|indices"):
        Deformer(mesh, rig, {"shape_0": Inbetweens(Offsets(np.array([100]), np.ones((1, 3))))})


def test_normals_of_a_sphere_point_outward() -> None:
    """The closed form: on a sphere the normal is the direction from the centre."""
    positions, triangles = bilateral(4000, 0)
    round_ = positions / np.linalg.norm(positions, axis=1, keepdims=True)
    result = Normals(bare_mesh(round_, triangles)).of(np.stack([round_, 3 * round_]))
    away = np.abs((result * round_).sum(axis=2))
    assert away[:, np.abs(round_[:, 1]) < 0.9].min() > 0.995
    np.testing.assert_allclose(result[0], result[1], atol=1e-12)


def test_copies_at_a_seam_share_their_normal() -> None:
    # two triangles that meet at a right angle along an edge, whose vertices are doubled; one has twice the area
    positions = np.array([(0, 0, 0), (0, 1, 0), (2, 0, 0), (0, 0, 0), (0, 1, 0), (0, 0, 1)], dtype=np.float64)
    mesh = bare_mesh(positions, np.array([(0, 2, 1), (3, 4, 5)]), np.array([0, 1, 2, 0, 1, 3]))
    result = Normals(mesh).of(positions)
    np.testing.assert_allclose(result[[0, 1, 3, 4]], np.tile(np.array([1.0, 0.0, 2.0]) / 5**0.5, (4, 1)), atol=1e-15)
    np.testing.assert_allclose(result[[2, 5]], [(0, 0, 1), (1, 0, 0)], atol=1e-15)


def test_normals_of_nothing_are_null() -> None:
    mesh = bare_mesh(np.zeros((4, 3)), np.array([(0, 1, 2)]))
    assert not Normals(mesh).of(mesh.positions).any()
