"""Readers and first specs against published figures, standards, and other files of the same character."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from plica.diagnostics import Diagnostics
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.retarget import poses_from_clip
from plica.pipeline import compile_file
from plica.readers.bvh import read_bvh
from plica.readers.clip import Clip
from plica.readers.clip_reader import read_clips
from plica.readers.gltf_arrays import GltfArrays
from plica.readers.gltf_skeleton import skeleton_of_document
from plica.readers.model_reader import read_outline
from plica.skeleton.body import body_of
from plica.skeleton.side_patterns import find_sides
from plica.skeleton.skeleton import Skeleton
from plica.start.hinges import hinge_of
from tests.support.data import SMALL_DATA, shared_data
from tests.support.started import first_spec

Array = NDArray[np.float64]

# Khronos' sample SimpleSkin with joint 1 turned 90 degrees about z: joint matrix = global(joint) x inverse bind,
# glTF 2.0 section 3.7.3; the ten points were computed from that rule by an independent program (ORACLES.md of
# the shared data).
SIMPLE_SKIN = [
    (-0.5, 0),
    (0.5, 0),
    (-0.25, 0.5),
    (0.5, 0.75),
    (-0.25, 0.75),
    (0.25, 1.25),
    (-0.5, 0.75),
    (-0.25, 1.5),
    (-1, 0.5),
    (-1, 1.5),
]


def test_simple_skin_bends_as_the_standard_says() -> None:
    arrays = GltfArrays(SMALL_DATA / "SimpleSkin.gltf")
    result = skeleton_of_document(arrays.document)
    joints = list(result.skeleton.joints)
    bending = result.nodes.index(2)
    joints[bending] = joints[bending]._replace(rotation=(0.0, 0.0, 0.5**0.5, 0.5**0.5))
    posed = Skeleton(tuple(joints))
    skin = arrays.document["skins"][0]
    binds = arrays.accessor(skin["inverseBindMatrices"])
    matrices = []
    for node, bind in zip(skin["joints"], binds, strict=True):
        frame = posed.frames[result.nodes.index(node)]
        matrix = np.eye(4)
        matrix[:3, :3], matrix[:3, 3] = frame.linear, frame.origin
        matrices.append(matrix @ bind)
    attributes = arrays.document["meshes"][0]["primitives"][0]["attributes"]
    points = arrays.accessor(attributes["POSITION"])
    indexes, weights = arrays.accessor(attributes["JOINTS_0"]), arrays.accessor(attributes["WEIGHTS_0"])
    blended = np.einsum("vj,vjab->vab", weights, np.array(matrices)[indexes.astype(int)])
    moved = np.einsum("vab,vb->va", blended, np.column_stack((points, np.ones(len(points)))))
    np.testing.assert_allclose(moved[:, :2], SIMPLE_SKIN, atol=1e-6)


def test_two_formats_of_one_character_rest_in_the_same_places() -> None:
    # RiggedFigure by Cesium (CC-BY 4.0), once as glTF and once as OpenUSD; single precision in both files
    pytest.importorskip("pxr", reason="usd-core is not installed")
    one = read_outline(shared_data("characters", "rigged_figure", "RiggedFigure.glb")).skeleton
    other = read_outline(shared_data("characters", "rigged_figure", "RiggedFigure.usdz")).skeleton
    assert {joint.name for joint in one.joints if joint.skinned} == set(other.index)
    for name, index in other.index.items():
        np.testing.assert_allclose(other.frames[index].origin, one.frames[one.index[name]].origin, atol=5e-6)
        np.testing.assert_allclose(other.orientation(index), one.orientation(one.index[name]), atol=5e-6, err_msg=name)


def test_usd_rest_frames_are_usdskels_own() -> None:
    # UsdSkelSkeletonQuery.ComputeJointSkelTransforms at rest, times the prim's place and the stage's units
    pytest.importorskip("pxr", reason="usd-core is not installed")
    from pxr import Usd, UsdGeom, UsdSkel

    for parts in (("usdskel", "lbs.usda"), ("characters", "rigged_figure", "RiggedFigure.usdz")):
        path = shared_data(*parts)
        stage = Usd.Stage.Open(str(path))
        prim = next(prim for prim in stage.Traverse() if prim.IsA(UsdSkel.Skeleton))
        query = UsdSkel.Cache().GetSkelQuery(UsdSkel.Skeleton(prim))
        world = UsdGeom.Xformable(prim).ComputeLocalToWorldTransform(0)
        metres = UsdGeom.GetStageMetersPerUnit(stage)
        frames = read_outline(path).skeleton.frames
        # to 2e-6: single precision gives the file's matrices a little shear, which joints cannot keep
        for frame, matrix in zip(frames, query.ComputeJointSkelTransforms(0, True), strict=True):
            expected = np.array(matrix * world)
            np.testing.assert_allclose(frame.origin, expected[3, :3] * metres, atol=2e-6)
            np.testing.assert_allclose(frame.linear, expected[:3, :3].T * metres, atol=2e-6)


# ---- motion capture ----------------------------------------------------------------------------------------


def _angles_about(clip: Clip, joint: str, axis: tuple[float, float, float]) -> Array:
    """Twist about an axis since rest, degrees: 2 atan2(q . axis, w) (Dobrowolski, arXiv 1506.05481)."""
    rotation = clip.rotations[1:, clip.rest.index[joint]]  # the first frame is the calibration pose
    turned = np.degrees(2 * np.arctan2(rotation[:, :3] @ np.array(axis), rotation[:, 3]))
    return np.asarray((turned + 180.0) % 360.0 - 180.0)


# Hinge axes and flexion, measured on the clips of mocap.cs.cmu.edu (ORACLES.md, "Rotations"): the axes to four
# digits, the least and the greatest flexion over both sides to a tenth of a degree.
COSINE, SINE = np.cos(np.radians(20.0)), np.sin(np.radians(20.0))
HINGES = {
    "knee": {"LeftLeg": (COSINE, SINE, 0.0), "RightLeg": (COSINE, -SINE, 0.0)},
    "elbow": {"LeftForeArm": (0.0, -(0.75**0.5), 0.5), "RightForeArm": (0.0, 0.75**0.5, -0.5)},
}


@pytest.mark.parametrize(
    ("file", "limb", "least", "most"),
    [
        ("cmu_12_01_walk.bvh", "knee", 0.0, 77.1),
        ("cmu_12_01_walk.bvh", "elbow", 12.7, 40.1),
        ("cmu_01_01.bvh", "knee", 16.9, 88.3),
        ("cmu_01_01.bvh", "elbow", 6.6, 139.3),
    ],
)
def test_flexion_in_motion_capture(file: str, limb: str, least: float, most: float) -> None:
    clip = read_bvh(shared_data("motion", file))
    result = np.concatenate([_angles_about(clip, joint, axis) for joint, axis in HINGES[limb].items()])
    assert result.min() == pytest.approx(least, abs=0.06)
    assert result.max() == pytest.approx(most, abs=0.06)
    whole = np.concatenate(
        [
            np.degrees(Rotation.from_quat(clip.rotations[1:, clip.rest.index[joint]]).magnitude())
            for joint in HINGES[limb]
        ]
    )
    np.testing.assert_allclose(whole, np.abs(result), atol=0.01)  # an exact hinge turns about nothing else


@pytest.mark.parametrize("file", ["cmu_12_01_walk.bvh", "cmu_01_01.bvh"])
def test_the_knees_hinge_is_found_from_the_skeleton_alone(file: str) -> None:
    # What `plica start` proposes for the straight leg against the hinge that the solved motion turns about
    skeleton = read_bvh(shared_data("motion", file)).rest
    for joint, axis in HINGES["knee"].items():
        np.testing.assert_allclose(_hinge(skeleton, joint), axis, atol=1e-4)


def _hinge(skeleton: Skeleton, joint: str, only_side: float = 0.0) -> tuple[float, float, float]:
    sides = find_sides(skeleton).sides
    body = body_of(skeleton, sides, only_side)
    hinge = hinge_of(body, skeleton.index[joint])
    assert hinge is not None
    return hinge.axis


def _finger_joints() -> Iterator[tuple[Path, float, str]]:
    for side, sign in (("left", 1.0), ("right", -1.0)):
        for finger in ("index", "middle", "ring", "pinky"):
            for bone in ("proximal", "intermediate", "distal"):
                yield SMALL_DATA / f"hand_{side}.glb", sign, f"{finger}-finger-phalanx-{bone}"


@pytest.mark.parametrize(
    ("path", "side", "joint"), list(_finger_joints()), ids=lambda value: getattr(value, "name", None)
)
def test_fingers_flex_about_minus_x_in_the_standards_frames(path: Path, side: float, joint: str) -> None:
    # W3C WebXR Hand Input Module: a joint's -z points along the bone and its +y to the back of the hand (from
    # memory), so flexing toward the palm turns about -x. The hands (MIT, (c) 2019 Amazon) are made in these frames.
    axis = _hinge(read_outline(path).skeleton, joint, side)
    assert axis[0] < -0.85


def test_hinges_found_by_start_turn_the_way_that_animators_turned_them(tmp_path: Path) -> None:
    # Clips made for the mannequin (CC0, Kay Lousberg): its knees and elbows flex, so the proposed axes are right
    # if their readings are positive through every stride of a walk and a run, on both sides; 0 in the T pose.
    spec = tmp_path / "mannequin.plica"
    shutil.copytree(shared_data("characters", "mannequin"), tmp_path, dirs_exist_ok=True)
    model = tmp_path / "mannequin.gltf"
    spec.write_text(first_spec(model).text, "utf-8")
    rig = compile_file(spec).rig
    assert rig is not None
    clips = read_clips(shared_data("characters", "mannequin", "Med_MovementBasic.glb"))
    names = [strength.name for strength in rig.strengths]
    columns = [names.index(f"{side}_{limb}_bend") for side in ("left", "right") for limb in ("lowerleg", "lowerarm")]
    seen = set()
    for clip in clips:
        strengths = Evaluator(rig).strengths(poses_from_clip(rig, clip, Diagnostics()))[:, columns]
        kind = clip.name.split("|")[1].split("_")[0]
        seen.add(kind)
        if kind in ("Walking", "Running"):
            assert np.all(strengths.max(axis=0) > (0.8, 0.4, 0.8, 0.4))
        if kind == "T-Pose":
            assert strengths.max() < 0.01
    assert {"Walking", "Running", "T-Pose"} <= seen
