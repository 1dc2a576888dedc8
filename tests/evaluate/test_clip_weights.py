"""Weights of morph targets in clips, carried over to a character by their names."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.retarget import poses_from_clip
from plica.pipeline import compile_text
from plica.readers.clip import Clip
from plica.readers.clip_reader import read_clips
from plica.readers.gltf_clip import read_gltf_clips
from plica.rig.rig import Rig
from plica.workspace import Workspace
from tests.support.faces import HEAD, ShownMesh, WeightTrack, face

SPEC = """plica 1
character otter { geometry "face.gltf" left "*_lf" right "*_rt" }
driver chewing { reads weight of "chew" span 0 .. 1 }
driver smiling both { reads weight of "smile" span 0 .. 1 }
"""
VALUES = np.array([[0.0, 0.0], [1.0, 0.25], [0.5, 0.75]])


def character(folder: Path, rest: float = 0.0) -> Rig:
    face(folder, {"skin": ShownMesh(("smile_lf", "smile_rt", "chew"), (0.0, 0.0, rest))})
    rig = compile_text(SPEC, "face.plica", Workspace(folder)).rig
    assert rig is not None
    return rig


FILM = (0.0, 0.04, 0.08)
"""Keys so near each other that nothing is looked at between them."""


def carried(rig: Rig, clip: Clip) -> tuple[dict[str, list[float]], list[str]]:
    """The strengths of each frame by driver, and what is told."""
    diagnostics = Diagnostics()
    poses = poses_from_clip(rig, clip, diagnostics)
    evaluator = Evaluator(rig)
    table = evaluator.strengths(poses).T.tolist()
    return dict(zip(evaluator.names, table, strict=True)), [one.name for one in diagnostics.all]


def test_a_clip_of_another_file_moves_targets_of_its_names(tmp_path: Path) -> None:
    rig = character(tmp_path)
    path = face(tmp_path, {"mask": ShownMesh(("chew", "smile_rt"))}, [WeightTrack(0, FILM, VALUES)], "capture")
    strengths, told = carried(rig, read_gltf_clips(path)[0])
    assert strengths == {
        "chewing": [0.0, 1.0, 0.5],
        "left_smiling": [0.0, 0.0, 0.0],
        "right_smiling": [0.0, 0.25, 0.75],
    }
    assert "clip-leaves-morphs" in told


def test_what_all_is_moved_is_not_told_of(tmp_path: Path) -> None:
    rig = character(tmp_path)
    values = np.array([[0.0, 0.0, 0.0, 1.0], [1.0, 0.5, 0.25, 1.0]])
    names = ("chew", "smile_rt", "smile_lf", "blink")  # nothing reads the last
    path = face(tmp_path, {"mask": ShownMesh(names)}, [WeightTrack(0, (0, 1), values)], "capture")
    assert carried(rig, read_gltf_clips(path)[0])[1] == []


def test_without_weights_readings_stay_at_rest_and_it_is_told(tmp_path: Path) -> None:
    """The rest weight is the model's, not 0."""
    rig = character(tmp_path, 0.5)
    rotations = np.tile([joint.rotation for joint in HEAD.joints], (2, 1, 1))
    places = np.tile([joint.translation for joint in HEAD.joints], (2, 1, 1))
    clip = Clip("nod", np.arange(2.0), rotations, places, HEAD, in_metres=True)
    poses = poses_from_clip(rig, clip, Diagnostics())
    assert poses.controls[:, poses.control_names.index("weight of chew")].tolist() == [0.5, 0.5]
    assert carried(rig, clip) == (
        {"chewing": [0.0, 0.0], "left_smiling": [0.0, 0.0], "right_smiling": [0.0, 0.0]},
        ["clip-leaves-morphs"],
    )


def test_weights_that_meshes_move_apart_are_told_of(tmp_path: Path) -> None:
    rig = character(tmp_path)
    meshes = {"mask": ShownMesh(("chew", "smile_rt")), "teeth": ShownMesh(("chew", "smile_lf"))}
    tracks = [WeightTrack(0, FILM, VALUES), WeightTrack(1, FILM, VALUES[::-1])]
    strengths, told = carried(rig, read_gltf_clips(face(tmp_path, meshes, tracks, "capture"))[0])
    assert strengths["chewing"] == [0.0, 0.0, 0.0] and strengths["left_smiling"] == [0.75, 0.25, 0.0]
    assert told == ["clip-morphs-differ"]


def test_a_face_without_joints_of_the_character_still_fits(tmp_path: Path) -> None:
    """A clip that moves nothing of the character at all is an error; one that moves its face is not."""
    rig = character(tmp_path)
    path = face(tmp_path, {"mask": ShownMesh(("chew", "smile_rt"))}, [WeightTrack(0, FILM, VALUES)], "capture")
    path.write_text(path.read_text("utf-8").replace('"ear_', '"a_').replace('"head"', '"b"').replace('"spine"', '"c"'))
    told = carried(rig, read_gltf_clips(path)[0])[1]
    assert "clip-fits-nothing" not in told


FACE = """#usda 1.0
(
    metersPerUnit = 1
    upAxis = "Y"
    timeCodesPerSecond = 120
)
def SkelRoot "root" {
    def Skeleton "bones" (
        prepend apiSchemas = ["SkelBindingAPI"]
    ) {
        uniform token[] joints = ["head"]
        uniform matrix4d[] bindTransforms = [ ( (1,0,0,0), (0,1,0,0), (0,0,1,0), (0,1,0,1) ) ]
        uniform matrix4d[] restTransforms = [ ( (1,0,0,0), (0,1,0,0), (0,0,1,0), (0,1,0,1) ) ]
        rel skel:animationSource = </root/talk>
    }
    def SkelAnimation "talk" {
        uniform token[] blendShapes = ["chew", "smile_rt", "smile_lf"]
        float[] blendShapeWeights.timeSamples = { 0: [0, 0.25, 0.5], 5: [1, 0.5, 0.75] }
    }
    def Mesh "skin" (
        prepend apiSchemas = ["SkelBindingAPI"]
    ) {
        point3f[] points = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
        int[] faceVertexCounts = [3]
        int[] faceVertexIndices = [0, 1, 2]
        int[] primvars:skel:jointIndices = [0, 0, 0] (
            elementSize = 1
            interpolation = "vertex"
        )
        float[] primvars:skel:jointWeights = [1, 1, 1] (
            elementSize = 1
            interpolation = "vertex"
        )
        rel skel:skeleton = </root/bones>
        uniform token[] skel:blendShapes = ["smile_lf", "smile_rt", "chew"]
        rel skel:blendShapeTargets = [</root/skin/one>, </root/skin/two>, </root/skin/three>]
        def BlendShape "one" {
            uniform vector3f[] offsets = [(0, 0, 1)]
            uniform int[] pointIndices = [1]
        }
        def BlendShape "two" {
            uniform vector3f[] offsets = [(0, 0, 1)]
            uniform int[] pointIndices = [2]
        }
        def BlendShape "three" {
            uniform vector3f[] offsets = [(0, 0, 1)]
            uniform int[] pointIndices = [0]
        }
    }
}
"""


def test_an_openusd_face_is_read_from_its_own_animation(tmp_path: Path) -> None:
    """The animation lists its shapes in another order than the mesh does (UsdSkel maps them by name)."""
    pytest.importorskip("pxr")
    path = tmp_path / "face.usda"
    path.write_text(FACE, "utf-8")
    rig = compile_text(SPEC.replace("face.gltf", "face.usda"), "face.plica", Workspace(tmp_path)).rig
    assert rig is not None and [one.rest for one in rig.controls] == [0.0, 0.0, 0.0]
    strengths, told = carried(rig, read_clips(path)[0])
    assert strengths == {"chewing": [0.0, 1.0], "left_smiling": [0.5, 0.75], "right_smiling": [0.25, 0.5]}
    assert told == []
