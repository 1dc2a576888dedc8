"""Animations of OpenUSD against the library's own joint transforms, and against the same motion as glTF 2.0."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plica.readers.clip_reader import read_clips
from plica.readers.model_outline import UnreadableModel
from plica.readers.usd_clip import read_usd_clips
from tests.evaluate.test_alignment import places
from tests.support.data import shared_data

MOVING = """#usda 1.0
(
    metersPerUnit = 0.01
    upAxis = "Z"
    timeCodesPerSecond = 10
)
def SkelRoot "root" {
    def Skeleton "bones" (
        prepend apiSchemas = ["SkelBindingAPI"]
    ) {
        uniform token[] joints = ["hips", "hips/knee"]
        uniform matrix4d[] bindTransforms = [
            ( (1,0,0,0), (0,1,0,0), (0,0,1,0), (0,0,90,1) ), ( (1,0,0,0), (0,1,0,0), (0,0,1,0), (0,0,50,1) ) ]
        uniform matrix4d[] restTransforms = [
            ( (1,0,0,0), (0,1,0,0), (0,0,1,0), (0,0,90,1) ), ( (1,0,0,0), (0,1,0,0), (0,0,1,0), (0,0,-40,1) ) ]
        rel skel:animationSource = </root/walk>
    }
    def SkelAnimation "walk" {
        uniform token[] joints = ["hips/knee"]
        float3[] translations = [(0, 0, -40)]
        quatf[] rotations.timeSamples = { 0: [(1, 0, 0, 0)], 5: [(0.7071068, 0.7071068, 0, 0)], 10: [(0, 1, 0, 0)] }
        half3[] scales = [(1, 1, 1)]
    }
}
"""


def test_times_units_and_the_up_axis(tmp_path: Path) -> None:
    file = tmp_path / "walk.usda"
    file.write_text(MOVING, "utf-8")
    (clip,) = read_clips(file)
    assert clip.name == "walk"
    assert clip.joints == ("hips", "knee")
    np.testing.assert_allclose(clip.times, np.linspace(0.0, 1.0, 25), atol=1e-12)  # samples are half a second apart
    assert clip.scales is None
    at = places(clip.rest, clip.joints, clip.rotations, clip.translations)
    # 90 cm up in the stage, whose up is z, is 0.9 m along y here.
    np.testing.assert_allclose(at[0], np.tile([0.0, 0.9, 0.0], (25, 1)), atol=1e-9)
    np.testing.assert_allclose(at[1], np.tile([0.0, 0.5, 0.0], (25, 1)), atol=1e-9)
    np.testing.assert_allclose(np.abs(clip.rotations[:, 1, 0]), np.sin(np.linspace(0.0, np.pi / 2, 25)), atol=1e-6)


def test_nothing_is_looked_at_between_samples_where_nothing_moves(tmp_path: Path) -> None:
    file = tmp_path / "walk.usda"
    file.write_text(MOVING.replace("5: [(0.7071068, 0.7071068, 0, 0)]", "5: [(1, 0, 0, 0)]"), "utf-8")
    np.testing.assert_allclose(read_clips(file)[0].times, [0.0, *np.linspace(0.5, 1.0, 13)], atol=1e-12)


@pytest.mark.parametrize("rate", ["timeCodesPerSecond = 0", "timeCodesPerSecond = -10"])
def test_a_rate_that_is_none_is_refused(tmp_path: Path, rate: str) -> None:
    """The library looks for the samples of a rate of 0 without end; of one below 0 time runs backwards."""
    file = tmp_path / "walk.usda"
    file.write_text(MOVING.replace("timeCodesPerSecond = 10", rate), "utf-8")
    with pytest.raises(UnreadableModel, match=r"walk\.usda` states -?\d+ time codes a second, which is no rate"):
        read_clips(file)


def test_joints_are_where_the_library_has_them() -> None:
    """UsdSkel.SkeletonQuery.ComputeJointSkelTransforms of usd-core."""
    from pxr import Usd, UsdGeom, UsdSkel

    file = shared_data("characters", "rigged_figure", "RiggedFigure.usdz")
    (clip,) = read_usd_clips(file)
    stage = Usd.Stage.Open(str(file))
    prim = next(prim for prim in stage.Traverse() if prim.IsA(UsdSkel.Skeleton))
    cache = UsdSkel.Cache()
    cache.Populate(UsdSkel.Root.Find(prim), Usd.TraverseInstanceProxies())
    query = cache.GetSkelQuery(UsdSkel.Skeleton(prim))
    at = places(clip.rest, clip.joints, clip.rotations, clip.translations)
    above = np.array(UsdGeom.Xformable(prim).ComputeLocalToWorldTransform(0))
    unit = UsdGeom.GetStageMetersPerUnit(stage)
    assert UsdGeom.GetStageUpAxis(stage) == "Y"
    for frame, seconds in enumerate(clip.times):
        matrices = np.array(query.ComputeJointSkelTransforms(float(seconds) * stage.GetTimeCodesPerSecond()))
        wanted = (matrices @ above)[:, 3, :3] * unit
        np.testing.assert_allclose([one[frame] for one in at], wanted, atol=1e-5)


def test_a_stage_without_motion_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "still.usda"
    file.write_text(MOVING.replace("rel skel:animationSource", "rel other"), "utf-8")
    with pytest.raises(UnreadableModel, match="holds no animation"):
        read_clips(file)


TALKING = """
    def SkelAnimation "walk" {
        uniform token[] blendShapes = ["chew", "smile"]
        float[] blendShapeWeights.timeSamples = { 0: [0, 0.25], 5: [1, 0.5], 20: [0.5, -1] }
"""


def test_weights_of_blend_shapes_are_the_librarys(tmp_path: Path) -> None:
    """UsdSkel.AnimQuery.ComputeBlendShapeWeights of usd-core, at all samples and between them."""
    from pxr import Usd, UsdSkel

    file = tmp_path / "talk.usda"
    file.write_text(MOVING.replace('    def SkelAnimation "walk" {\n', TALKING), "utf-8")
    (clip,) = read_clips(file)
    np.testing.assert_allclose(clip.times, np.linspace(0.0, 2.0, 49))
    stage = Usd.Stage.Open(str(file))
    prim = UsdSkel.Skeleton(stage.GetPrimAtPath("/root/bones"))
    cache = UsdSkel.Cache()
    cache.Populate(UsdSkel.Root.Find(prim.GetPrim()), Usd.TraverseInstanceProxies())
    animation = cache.GetSkelQuery(prim).GetAnimQuery()
    rows = [np.array(animation.ComputeBlendShapeWeights(code)) for code in np.linspace(0.0, 20.0, 49)]
    assert list(clip.weights) == list(animation.GetBlendShapeOrder()) == ["chew", "smile"]
    np.testing.assert_allclose(np.stack(list(clip.weights.values()), axis=1), rows, atol=1e-6)


def test_a_face_alone_is_a_clip(tmp_path: Path) -> None:
    """Joints that nothing moves stay at rest."""
    file = tmp_path / "face.usda"
    moveless = MOVING.replace("quatf[] rotations.timeSamples = { 0:", "custom quatf[] other.timeSamples = { 0:")
    file.write_text(moveless.replace('    def SkelAnimation "walk" {\n', TALKING), "utf-8")
    (clip,) = read_clips(file)
    assert clip.weights["chew"][[0, 12, 48]].tolist() == [0.0, 1.0, 0.5]
    still = np.tile([joint.rotation for joint in clip.rest.joints], (49, 1, 1))
    np.testing.assert_allclose(clip.rotations, still, atol=1e-9)


@pytest.mark.parametrize("weights", ["[0.5]", "[]"])
def test_shapes_without_weights(tmp_path: Path, weights: str) -> None:
    """Too few are a fault of the file; none at all say nothing of the shapes."""
    file = tmp_path / "face.usda"
    named = f'uniform token[] blendShapes = ["chew", "smile"]\n        float[] blendShapeWeights = {weights}\n'
    animation = '    def SkelAnimation "walk" {\n'
    file.write_text(MOVING.replace(animation, animation + "        " + named), "utf-8")
    if weights == "[]":
        assert read_clips(file)[0].weights == {}
    else:
        with pytest.raises(UnreadableModel, match="do not fit its `blendShapes`"):
            read_clips(file)
