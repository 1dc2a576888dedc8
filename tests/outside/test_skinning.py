"""Deformation against OpenUSD's own (its files' ground truth, and usd-core at work) and against glTF 2.0's samples."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.evaluate.poses import Poses, rest_poses
from plica.evaluate.retarget import poses_from_clip
from plica.mesh.arrays import Floats, Mesh, Offsets
from plica.mesh.deform import Deformer, Motion
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.joint_matrices import Kinematics
from plica.mesh.mesh_reader import mesh_of_rig, read_mesh
from plica.mesh.unpose import Unposer
from plica.readers.clip_reader import read_clips
from plica.readers.model_reader import read_outline
from plica.skeleton.skeleton import Joint, Skeleton
from plica.values import SkinningMethod
from tests.support.data import SMALL_DATA, shared_data
from tests.support.meshes import bare_mesh
from tests.support.skins import placed, random_character, random_poses, rig_of

NO_TRIANGLES = np.zeros((0, 3), np.int64)
# UsdSkel's name for each method (OpenUSD, UsdSkelBindingAPI, skel:skinningMethod).
METHODS: tuple[tuple[SkinningMethod, str], ...] = (("linear", "classicLinear"), ("dual quaternion", "dualQuaternion"))


def usd(module: str) -> Any:
    """A module of usd-core; skips the test where it is not installed."""
    pytest.importorskip("pxr", reason="usd-core is not installed")
    return pytest.importorskip(f"pxr.{module}", reason="usd-core is not installed")


def floats(values: Any) -> Floats:
    """An array of USD as float64."""
    return np.array(values, dtype=np.float64)


def whole(deformer: Deformer, moving: Poses | Motion, method: SkinningMethod = "linear") -> Floats:
    """All frames."""
    return np.concatenate([block.positions for block in deformer.positions(moving, method)])


# ---- shapes with inbetweens: blendshapes.usda of OpenUSD 24.08's tests, all 113 frames of its ground truth ---------


def blend_shape(prim: Any) -> Inbetweens:
    """A BlendShape prim with its inbetweens."""
    shape = usd("UsdSkel").BlendShape(prim)
    indices = np.array(shape.GetPointIndicesAttr().Get(), dtype=np.int64)
    result = [(each.GetWeight(), Offsets(indices, floats(each.GetOffsets()))) for each in shape.GetInbetweens()]
    primary = Offsets(indices, floats(shape.GetOffsetsAttr().Get()))
    return Inbetweens(primary, tuple(at for at, _ in result), tuple(offsets for _, offsets in result))


def test_shapes_with_inbetweens_meet_the_ground_truth() -> None:
    path = shared_data("usdskel", "blendshapes.usda")
    stage = usd("Usd").Stage.Open(str(path))
    plane = stage.GetPrimAtPath("/TestPlane/Mesh")
    names = list(plane.GetAttribute("skel:blendShapes").Get())
    shapes = {name: blend_shape(stage.GetPrimAtPath(f"/TestPlane/Mesh/{name}")) for name in names}
    assert sorted(at for shape in shapes.values() for at in shape.at) == pytest.approx([-0.499, 0.5, 0.5, 1.5, 1.5])
    truth = stage.GetPrimAtPath("/GroundTruth/Mesh").GetAttribute("points")
    times = truth.GetTimeSamples()
    assert len(times) == 113
    moving = stage.GetPrimAtPath("/TestPlane/Skel/Anim")
    assert list(moving.GetAttribute("blendShapes").Get()) == names
    strengths = floats([moving.GetAttribute("blendShapeWeights").Get(time) for time in times])
    assert strengths.min() < -0.9 and strengths.max() > 1.9
    mesh = placed(bare_mesh(floats(plane.GetAttribute("points").Get()), NO_TRIANGLES))
    deformer = Deformer(mesh, rig_of(Skeleton(()), names), shapes)
    result = whole(deformer, Motion(strengths, np.zeros((len(times), 0, 3, 4))))
    # The ground truth came from elsewhere: usd-core's own baking misses it by up to 2.35e-4, in lengths up to 50.
    np.testing.assert_allclose(result, floats([truth.Get(time) for time in times]), atol=2.4e-4)
    assert usd("UsdSkel").BakeSkinning(
        usd("UsdSkel").Root(stage.GetPrimAtPath("/TestPlane")), usd("Gf").Interval.GetFullInterval()
    )
    baked = plane.GetAttribute("points")
    np.testing.assert_allclose(result, floats([baked.Get(time) for time in times]), atol=5e-6)


# ---- skins: lbs.usda and dqs.usda of OpenUSD 24.08's tests against their baked files ---------------------------------


def usd_skeleton(prim: Any) -> Skeleton:
    """A UsdSkel skeleton with its rest transforms, none of which is scaled."""
    gf = usd("Gf")
    paths = list(prim.GetAttribute("joints").Get())
    joints = []
    for path, matrix in zip(paths, prim.GetAttribute("restTransforms").Get(), strict=True):
        turn = gf.Transform(matrix).GetRotation().GetQuat()
        x, y, z = turn.GetImaginary()
        place = matrix.ExtractTranslation()
        parent = paths.index(path.rpartition("/")[0]) if "/" in path else None
        joints.append(Joint(path, parent, (place[0], place[1], place[2]), (x, y, z, turn.GetReal())))
    return Skeleton(tuple(joints))


def usd_mesh(prim: Any, binds: Floats) -> Mesh:
    """The skin of a Mesh prim, in the space of the bind pose."""

    def primvar(name: str) -> Any:
        return prim.GetAttribute(f"primvars:skel:{name}")

    # USD multiplies rows from the left.
    to_bind = floats(primvar("geomBindTransform").Get())
    positions = floats(prim.GetAttribute("points").Get()) @ to_bind[:3, :3] + to_bind[3, :3]
    width = primvar("jointIndices").GetMetadata("elementSize")
    mesh = bare_mesh(positions, NO_TRIANGLES)
    return Mesh(
        **{
            **vars(mesh),
            "joints": np.array(primvar("jointIndices").Get(), np.int64).reshape(-1, width),
            "weights": floats(primvar("jointWeights").Get()).reshape(-1, width),
            "bind_joints": np.arange(len(binds)),
            "inverse_binds": np.linalg.inv(binds.transpose(0, 2, 1)),
        }
    )


@pytest.mark.parametrize(("name", "method"), [("lbs", "linear"), ("dqs", "dual quaternion")])
def test_skins_meet_the_baked_files(name: str, method: SkinningMethod) -> None:
    stages = [
        usd("Usd").Stage.Open(str(shared_data("usdskel", file))) for file in (f"{name}.usda", f"{name}.baked.usda")
    ]
    stage, baked = stages
    skeleton = usd_skeleton(stage.GetPrimAtPath("/Root/Skeleton"))
    moving = stage.GetPrimAtPath("/Root/Skeleton/Animation")
    rotations = moving.GetAttribute("rotations")
    times = rotations.GetTimeSamples()
    turns = floats([[(*turn.GetImaginary(), turn.GetReal()) for turn in rotations.Get(time)] for time in times])
    moves = floats([moving.GetAttribute("translations").Get(time) for time in times])
    names = tuple(moving.GetAttribute("joints").Get())
    poses = Poses(names, turns, moves, (), np.zeros((len(times), 0)))
    binds = floats(stage.GetPrimAtPath("/Root/Skeleton").GetAttribute("bindTransforms").Get())
    for prim in ("Mesh", "MeshWithNormals", "MeshWithFaceVaryingNormals"):
        mesh = usd_mesh(stage.GetPrimAtPath(f"/Root/{prim}"), binds)
        result = whole(Deformer(mesh, rig_of(skeleton), {}), poses, method)
        points = baked.GetPrimAtPath(f"/Root/{prim}").GetAttribute("points")
        np.testing.assert_allclose(result, floats([points.Get(time) for time in times]), atol=2e-6)


# ---- usd-core at work: UsdSkel.SkinPoints, for stretched joints too -------------------------------------------------


def skinned_by_usd(mesh: Mesh, skins: Floats, method: str) -> Floats:
    """UsdSkel's positions for one frame's skin matrices (binds, 3, 4)."""
    gf, vt, skel = usd("Gf"), usd("Vt"), usd("UsdSkel")
    rows = np.concatenate([skins.transpose(0, 2, 1), np.tile([[0.0], [0.0], [0.0], [1.0]], (len(skins), 1, 1))], 2)
    points = vt.Vec3fArray([gf.Vec3f(*place) for place in mesh.positions.tolist()])
    matrices = vt.Matrix4dArray([gf.Matrix4d(matrix.tolist()) for matrix in rows])
    indices = vt.IntArray(mesh.joints.reshape(-1).tolist())
    weights = vt.FloatArray(mesh.weights.reshape(-1).tolist())
    assert skel.SkinPoints(method, gf.Matrix4d(1), matrices, indices, weights, mesh.joints.shape[1], points)
    return floats(points)


@pytest.mark.parametrize(("method", "name"), METHODS)
def test_random_skins_are_those_of_usdskel(method: SkinningMethod, name: str) -> None:
    rig, mesh, _ = random_character(11, 400, 1, 5)
    deformer = Deformer(mesh, rig, {})
    skins = deformer.motion(random_poses(rig, 4, bend=0.3)).skins
    # Stretched, sheared and mirrored matrices after rigid ones.
    skins[2:, ..., :3] *= np.random.default_rng(3).uniform(0.6, 1.6, (2, skins.shape[1], 3, 3))
    skins[3, ::2, :, 0] *= -1.0
    for frame, positions in enumerate(whole(deformer, Motion(np.zeros((4, 0)), skins), method)):
        np.testing.assert_allclose(positions, skinned_by_usd(mesh, skins[frame], name), atol=5e-6)


@pytest.mark.parametrize(("method", "name"), METHODS)
def test_a_clip_of_the_rigged_figure_is_that_of_usdskel(method: SkinningMethod, name: str) -> None:
    # RiggedFigure by Cesium (CC-BY 4.0)
    path = shared_data("characters", "rigged_figure", "RiggedFigure.glb")
    rig = rig_of(read_outline(path).skeleton)
    mesh = mesh_of_rig(rig, path)
    poses = poses_from_clip(rig, read_clips(path)[0], Diagnostics())
    deformer = Deformer(mesh, rig, {})
    motion = deformer.motion(poses)
    positions = whole(deformer, poses, method)
    assert np.abs(positions - positions[0]).max() > 0.1
    for frame in range(0, poses.frames, 5):
        np.testing.assert_allclose(positions[frame], skinned_by_usd(mesh, motion.skins[frame], name), atol=2e-6)


@pytest.mark.parametrize("method", ["linear", "dual quaternion"])
def test_a_sculpt_over_the_posed_figure_comes_back(method: SkinningMethod) -> None:
    path = shared_data("characters", "rigged_figure", "RiggedFigure.glb")
    rig = rig_of(read_outline(path).skeleton)
    mesh = mesh_of_rig(rig, path)
    poses = poses_from_clip(rig, read_clips(path)[0], Diagnostics())
    deformer = Deformer(mesh, rig, {})
    motion = deformer.motion(poses)
    size = np.ptp(mesh.positions, axis=0).max()
    for frame in (0, poses.frames // 2):
        skins = motion.skins[frame : frame + 1]
        posed = whole(deformer, Motion(np.zeros((1, 0)), skins), method)[0]
        sculpt = posed + np.random.default_rng(frame).normal(scale=0.02, size=posed.shape)
        result = Unposer(deformer.skinning, mesh.positions, skins[0], method=method).sculpt(sculpt)
        assert result.ill.count == 0
        shaped = Deformer(mesh, rig_of(read_outline(path).skeleton, ["brow"]), {"brow": Inbetweens(result.offsets)})
        again = whole(shaped, Motion(np.ones((1, 1)), skins), method)[0]
        assert np.abs(again - sculpt).max() < 1e-6 * size


# ---- glTF 2.0 samples ---------------------------------------------------------------------------------------------


def test_simple_skin_bends_as_the_standard_says() -> None:
    # SimpleSkin of the glTF sample models; joint 1 at +90 degrees about z, worked out from glTF 2.0 section 3.7.3
    path = SMALL_DATA / "SimpleSkin.gltf"
    rig = rig_of(read_outline(path).skeleton)
    deformer = Deformer(mesh_of_rig(rig, path), rig, {})
    poses = rest_poses(rig)
    tip = len(rig.skeleton) - 1
    assert rig.skeleton[tip].parent is not None
    poses.rotations[0, tip] = (0.0, 0.0, 0.5**0.5, 0.5**0.5)
    expected = [(-0.5, 0), (0.5, 0), (-0.25, 0.5), (0.5, 0.75), (-0.25, 0.75), (0.25, 1.25), (-0.5, 0.75)]
    expected += [(-0.25, 1.5), (-1, 0.5), (-1, 1.5)]
    np.testing.assert_allclose(whole(deformer, poses)[0, :, :2], expected, atol=1e-6)


def test_simple_morph_moves_as_the_standard_says() -> None:
    # SimpleMorph of the glTF sample models: P + sum of weight x displacement (glTF 2.0 section 3.7.2.2)
    path = shared_data("characters", "simple_morph", "SimpleMorph.gltf")
    outline = read_outline(path)
    names = outline.meshes[0].morph_targets
    mesh = read_mesh(path, list(outline.skeleton.index))
    deformer = Deformer(mesh, rig_of(outline.skeleton, names), {name: Inbetweens(mesh.morphs[name]) for name in names})
    strengths = floats([(0.0, 0.0), (0.5, 0.5), (1.0, 0.0), (0.0, 2.0), (-1.0, 0.0)])
    result = whole(deformer, Motion(strengths, np.zeros((5, 0, 3, 4))))
    assert (result[:, :2] == [(0, 0, 0), (1, 0, 0)]).all()
    expected = [(0.5, 0.5, 0), (0.5, 1.5, 0), (-0.5, 1.5, 0), (2.5, 2.5, 0), (1.5, -0.5, 0)]
    np.testing.assert_allclose(result[:, 2], expected, atol=1e-6)


def test_rest_skins_are_the_identity_where_the_figure_was_bound_at_rest() -> None:
    # glTF 2.0 section 3.7.3: RiggedFigure's inverse bind matrices are the inverses of its joints' rest matrices
    path = shared_data("characters", "rigged_figure", "RiggedFigure.glb")
    rig = rig_of(read_outline(path).skeleton)
    mesh = mesh_of_rig(rig, path)
    skins = Kinematics(rig).skins(mesh, rest_poses(rig))
    # the model lies inside nodes that turn z up into y up, so all skins are one matrix
    np.testing.assert_allclose(skins, np.broadcast_to(skins[:, :1], skins.shape), atol=1e-5)
