"""Meshes held against the standards' own figures, another format of the same model, and usd-core."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from plica.mesh.arrays import Floats, Mesh
from plica.mesh.assembly import put_right
from plica.mesh.mesh_reader import read_mesh
from plica.mesh.symmetry import plane_of, symmetry_map
from plica.readers.model_reader import read_outline
from plica.skeleton.skeleton import Skeleton
from tests.support.data import shared_data
from tests.support.meshes import bare_mesh


def of_file(*parts: str) -> tuple[Mesh, Skeleton]:
    path = shared_data(*parts)
    skeleton = read_outline(path).skeleton
    return read_mesh(path, [joint.name for joint in skeleton.joints]), skeleton


def at_rest(mesh: Mesh, skeleton: Skeleton) -> Floats:
    """Linear blend skinning with the rest frames: sum over w of joint x inverse bind (glTF 2.0 section 3.7.3)."""
    moved = np.zeros((mesh.vertex_count, 3))
    for column in range(mesh.joints.shape[1]):
        matrices = []
        for joint, inverse in zip(mesh.bind_joints, mesh.inverse_binds, strict=True):
            frame = np.eye(4)
            frame[:3, :3], frame[:3, 3] = skeleton.frames[joint].linear, skeleton.frames[joint].origin
            matrices.append(frame @ inverse)
        own = np.array(matrices)[mesh.joints[:, column]]
        placed = np.einsum("vij,vj->vi", own[:, :3, :3], mesh.positions) + own[:, :3, 3]
        moved += mesh.weights[:, column, None] * placed
    return moved


def weights_by_name(mesh: Mesh, skeleton: Skeleton, names: list[str]) -> Floats:
    result = np.zeros((mesh.vertex_count, len(names)))
    for column in range(mesh.joints.shape[1]):
        rows = [names.index(skeleton.joints[joint].name) for joint in mesh.bind_joints]
        np.add.at(
            result, (np.arange(mesh.vertex_count), np.array(rows)[mesh.joints[:, column]]), mesh.weights[:, column]
        )
    return result


def test_one_character_in_two_formats() -> None:
    # RiggedFigure by Cesium (CC-BY 4.0) as glTF and as OpenUSD. The bind poses lie in different spaces; at rest
    # both stand in the same place with the same weights. Single precision in both files.
    pytest.importorskip("pxr", reason="usd-core is not installed")
    one, bones = of_file("characters", "rigged_figure", "RiggedFigure.glb")
    other, others = of_file("characters", "rigged_figure", "RiggedFigure.usdz")
    assert (one.vertex_count, one.point_count) == (other.vertex_count, other.point_count)
    here, there = at_rest(one, bones), at_rest(other, others)
    distances, nearest = cKDTree(here).query(there)
    assert distances.max() < 5e-6
    names = [joint.name for joint in others.joints]
    np.testing.assert_allclose(
        weights_by_name(other, others, names), weights_by_name(one, bones, names)[nearest], atol=1e-6
    )
    assert len(one.triangles) == len(other.triangles)


def test_points_of_a_stage_are_where_usd_core_says() -> None:
    # UsdSkelSkinningQuery.ComputeSkinnedPoints with the skeleton at rest, then the skeleton's place in the stage
    pytest.importorskip("pxr", reason="usd-core is not installed")
    from pxr import Usd, UsdGeom, UsdSkel

    path = shared_data("usdskel", "lbs.usda")
    mesh, skeleton = of_file("usdskel", "lbs.usda")
    stage = Usd.Stage.Open(str(path))
    root = UsdSkel.Root(stage.GetDefaultPrim() or next(prim for prim in stage.Traverse() if prim.IsA(UsdSkel.Root)))
    cache = UsdSkel.Cache()
    cache.Populate(root, Usd.PrimDefaultPredicate)
    expected = []
    for part in mesh.parts:
        prim = next(prim for prim in stage.Traverse() if prim.GetName() == part.mesh)
        bound = UsdSkel.BindingAPI(prim).GetInheritedSkeleton()
        query, skinning = cache.GetSkelQuery(bound), cache.GetSkinningQuery(prim)
        points = UsdGeom.Mesh(prim).GetPointsAttr().Get()
        transforms = query.ComputeSkinningTransforms(Usd.TimeCode.Default())
        if transforms is None or not len(transforms):
            pytest.fail("usd-core gives no skinning transforms")
        rest = query.ComputeJointSkelTransforms(Usd.TimeCode.Default(), True)
        binds = bound.GetBindTransformsAttr().Get()
        at_rest_transforms = [bind.GetInverse() * placed for bind, placed in zip(binds, rest, strict=True)]
        assert skinning.ComputeSkinnedPoints(type(transforms)(at_rest_transforms), points)
        world = np.array(UsdGeom.Xformable(bound).ComputeLocalToWorldTransform(0))
        metres = UsdGeom.GetStageMetersPerUnit(stage)
        placed = (np.array(points, dtype=np.float64) @ world[:3, :3] + world[3, :3]) * metres
        expected.append(placed)
    result = at_rest(mesh, skeleton)
    for part, places in zip(mesh.parts, expected, strict=True):
        own = result[part.start : part.start + part.count]
        assert cKDTree(places).query(own)[0].max() < 1e-6
        assert cKDTree(own).query(places)[0].max() < 1e-6


def test_weights_are_normalised_like_usdskels_example() -> None:
    # OpenUSD's test of UsdSkelNormalizeWeights (ORACLES: [3,1,1,0, 4,3,2,1, 40,30,20,10] -> fifths and tenths); a
    # vertex without weights stays 0 there, and goes to the skin's root here
    weights = np.array([(3.0, 1, 1, 0), (4, 3, 2, 1), (40, 30, 20, 10), (0, 0, 0, 0)])
    problems: list[str] = []
    joints, result = put_right(np.tile(np.arange(4), (4, 1)), weights, 2, "skin", problems)
    np.testing.assert_allclose(result[:3], [(0.6, 0.2, 0.2, 0), (0.4, 0.3, 0.2, 0.1), (0.4, 0.3, 0.2, 0.1)])
    assert joints[3, 0] == 2 and result[3].tolist() == [1, 0, 0, 0]
    assert len(problems) == 2


def test_usd_core_normalises_weights_alike() -> None:
    pytest.importorskip("pxr", reason="usd-core is not installed")
    from pxr import UsdSkel, Vt

    random = np.random.default_rng(4)
    weights = np.sort(random.uniform(0.0, 5.0, (50, 4)).astype(np.float32))[:, ::-1]
    theirs = Vt.FloatArray(weights.ravel().tolist())
    UsdSkel.NormalizeWeights(theirs, 4)
    _, ours = put_right(np.tile(np.arange(4), (50, 1)), weights.astype(np.float64), 0, "skin", [])
    np.testing.assert_allclose(ours, np.array(theirs).reshape(-1, 4), atol=1e-6)


def test_simple_morph() -> None:
    # SimpleMorph (glTF Sample Assets, CC0): a triangle whose two targets lift its tip to the left and to the right
    mesh, _ = of_file("characters", "simple_morph", "SimpleMorph.gltf")
    np.testing.assert_array_equal(mesh.positions, [(0, 0, 0), (1, 0, 0), (0.5, 0.5, 0)])
    first, second = mesh.morphs.values()
    assert first.indices.tolist() == second.indices.tolist() == [2]
    np.testing.assert_array_equal((first.offsets[0], second.offsets[0]), [(-1, 1, 0), (1, 1, 0)])


def test_simple_skin() -> None:
    # SimpleSkin (glTF Sample Assets, CC0): ten vertices in five rows, bound from one joint to the other by quarters
    mesh, skeleton = of_file("characters", "simple_skin", "SimpleSkin.gltf")
    upper = weights_by_name(mesh, skeleton, [joint.name for joint in skeleton.joints])[:, -1]
    np.testing.assert_allclose(upper, np.repeat((0.0, 0.25, 0.5, 0.75, 1.0), 2))
    # The file stores it between 0 and 1; its inverse bind matrices move it to its place in model space, the middle
    stored = [(x, y, 0.0) for y in (0.0, 0.5, 1.0, 1.5, 2.0) for x in (0.0, 1.0)]
    np.testing.assert_allclose(mesh.positions, np.array(stored) - np.array((0.5, 0, 0)), atol=1e-7)
    np.testing.assert_allclose(at_rest(mesh, skeleton), mesh.positions, atol=1e-7)


def test_every_open_model_reads() -> None:
    folder = shared_data("characters")
    for path in sorted([*folder.rglob("*.gltf"), *folder.rglob("*.glb")]):
        outline = read_outline(path)
        if not outline.meshes:
            continue
        mesh = read_mesh(path, [joint.name for joint in outline.skeleton.joints])
        wanted = [one for one in outline.meshes if one.taken]
        assert mesh.vertex_count == sum(one.vertices for one in wanted), path.name
        assert wanted == list(outline.meshes), "in these files everything is skin or hangs on a joint"
        assert mesh.point_count <= mesh.vertex_count
        if mesh.weights.shape[1]:
            np.testing.assert_allclose(mesh.weights.sum(axis=1), 1.0, atol=1e-15)
        uneven = ("RiggedFigure_unnamed_unnormalised", "SimpleMorph", "man", "robot")  # weights that do not sum to one
        assert bool(mesh.problems) is (path.stem in uneven)


def test_a_face_modelled_evenly_mirrors() -> None:
    # The open face model in the shared data (its licence beside it), 26,719 vertices in centimetres, modelled even:
    # all but a few mirror, and the middle vertices are those that lie on the plane
    with np.load(shared_data("face", "face_shapes.npz")) as data:
        mesh = bare_mesh(data["neutral"].astype(np.float64), data["tri_v"].astype(np.int64))
    plane = plane_of(mesh, 0.001)
    assert plane is not None and (plane.axis, plane.offset) == ("x", 0.0)
    result = symmetry_map(mesh, plane, 0.001)
    assert result.share > 0.9998
    assert np.count_nonzero(result.distances > 0.001) < 50
    on_plane = np.abs(mesh.positions[:, 0]) < 1e-6
    assert result.seam[on_plane].mean() > 0.99
