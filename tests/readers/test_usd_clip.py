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
    np.testing.assert_allclose(clip.times, [0.0, 0.5, 1.0])
    assert clip.scales is None
    at = places(clip.rest, clip.joints, clip.rotations, clip.translations)
    # 90 cm up in the stage, whose up is z, is 0.9 m along y here.
    np.testing.assert_allclose(at[0], np.tile([0.0, 0.9, 0.0], (3, 1)), atol=1e-9)
    np.testing.assert_allclose(at[1], np.tile([0.0, 0.5, 0.0], (3, 1)), atol=1e-9)
    np.testing.assert_allclose(np.abs(clip.rotations[:, 1, 0]), np.sin([0.0, np.pi / 4, np.pi / 2]), atol=1e-6)


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
