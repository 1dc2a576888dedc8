"""Meshes read from OpenUSD: units, up axis, joint order, seams, polygons, blend shapes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plica.mesh.arrays import Mesh
from plica.mesh.mesh_reader import read_mesh
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import read_outline

pytest.importorskip("pxr", reason="usd-core is not installed")

STAGE = """#usda 1.0
(
    metersPerUnit = 0.01
    upAxis = "Z"
)
def SkelRoot "Root" (prepend apiSchemas = ["SkelBindingAPI"])
{
    rel skel:skeleton = </Root/Skeleton>
    def Skeleton "Skeleton"
    {
        uniform token[] joints = ["hip", "hip/knee", "hip/tail"]
        uniform matrix4d[] bindTransforms = [
            ((1,0,0,0), (0,1,0,0), (0,0,1,0), (0,0,0,1)),
            ((1,0,0,0), (0,1,0,0), (0,0,1,0), (0,0,100,1)),
            ((1,0,0,0), (0,1,0,0), (0,0,1,0), (0,50,0,1))]
        uniform matrix4d[] restTransforms = [
            ((1,0,0,0), (0,1,0,0), (0,0,1,0), (0,0,0,1)),
            ((1,0,0,0), (0,1,0,0), (0,0,1,0), (0,0,100,1)),
            ((1,0,0,0), (0,1,0,0), (0,0,1,0), (0,50,0,1))]
    }
    def Mesh "skin" (prepend apiSchemas = ["SkelBindingAPI"])
    {
        int[] faceVertexCounts = [4, 3]
        int[] faceVertexIndices = [0, 1, 2, 3, 2, 1, 4]
        point3f[] points = [(0,0,0), (100,0,0), (100,100,0), (0,100,0), (200,50,0)]
        matrix4d primvars:skel:geomBindTransform = ((1,0,0,0), (0,1,0,0), (0,0,1,0), (0,0,10,1))
        texCoord2f[] primvars:st = [(0,0), (1,0), (1,1), (0,1), (0.5,0.5)] (interpolation = "faceVarying")
        int[] primvars:st:indices = [0, 1, 2, 3, 2, 4, 4]
        uniform token[] skel:joints = ["hip/tail", "hip/knee"]
        int[] primvars:skel:jointIndices = [0,1, 0,1, 1,0, 1,0, 0,0] (
            interpolation = "vertex"
            elementSize = 2
        )
        float[] primvars:skel:jointWeights = [1,0, 1,0, 3,1, 1,0, 1,0] (
            interpolation = "vertex"
            elementSize = 2
        )
        uniform token[] skel:blendShapes = ["smile"]
        rel skel:blendShapeTargets = </Root/skin/smile>
        def BlendShape "smile"
        {
            uniform int[] pointIndices = [2, 4]
            uniform vector3f[] offsets = [(0,0,10), (0,0,0)]
        }
    }
}
"""


def read(folder: Path, *changes: tuple[str, str], meshes: tuple[str, ...] = ()) -> Mesh:
    text = STAGE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "model.usda"
    path.write_text(text, "utf-8")
    joints = [joint.name for joint in read_outline(path).skeleton.joints]
    assert joints == ["hip", "knee", "tail"]
    return read_mesh(path, joints, meshes)


def test_a_whole_stage(tmp_path: Path) -> None:
    mesh = read(tmp_path)
    # vertices in the order of the points; the second is split, because its two faces disagree on its uvs
    centimetres = [(0, 0, 10), (100, 0, 10), (100, 0, 10), (100, 100, 10), (0, 100, 10), (200, 50, 10)]
    np.testing.assert_allclose(mesh.positions, [(x / 100, z / 100, -y / 100) for x, y, z in centimetres], atol=1e-12)
    assert mesh.points.tolist() == [0, 1, 1, 2, 3, 4]
    assert mesh.triangles.tolist() == [[0, 1, 3], [0, 3, 4], [3, 2, 5]]
    np.testing.assert_allclose(mesh.uvs["st"], [(0, 1), (1, 1), (0.5, 0.5), (1, 0), (0, 0), (0.5, 0.5)])
    assert mesh.parts[0].mesh == "skin"


def test_joints_are_told_by_the_meshes_own_order(tmp_path: Path) -> None:
    mesh = read(tmp_path)
    weights = np.zeros((mesh.vertex_count, 3))
    for column in range(mesh.joints.shape[1]):
        weights[np.arange(6), mesh.bind_joints[mesh.joints[:, column]]] += mesh.weights[:, column]
    tail, knee = (0, 0, 1), (0, 1, 0)
    np.testing.assert_allclose(weights, [tail, tail, tail, (0, 0.75, 0.25), knee, tail])
    assert len(mesh.problems) == 1 and "do not add up to 1 (furthest off: 4)" in mesh.problems[0]


def test_at_rest_the_skin_stands_where_it_was_bound(tmp_path: Path) -> None:
    mesh = read(tmp_path)
    frames = read_outline(tmp_path / "model.usda").skeleton.frames
    for row, joint in enumerate(mesh.bind_joints):
        frame = np.eye(4)
        frame[:3, :3], frame[:3, 3] = frames[joint].linear, frames[joint].origin
        np.testing.assert_allclose(frame @ mesh.inverse_binds[row], np.eye(4), atol=1e-9)


def test_blend_shapes_reach_every_copy_of_a_point(tmp_path: Path) -> None:
    mesh = read(tmp_path, ("pointIndices = [2, 4]", "pointIndices = [1, 4]"))
    smile = mesh.morphs["smile"]
    assert smile.indices.tolist() == [1, 2], "point 4 does not move"
    np.testing.assert_allclose(smile.offsets, [(0, 0.1, 0)] * 2, atol=1e-12)


def test_left_handed_faces_are_turned_over(tmp_path: Path) -> None:
    mesh = read(
        tmp_path, ("int[] faceVertexCounts", 'uniform token orientation = "leftHanded"\n        int[] faceVertexCounts')
    )
    assert mesh.triangles.tolist() == [[3, 1, 0], [4, 3, 0], [5, 2, 3]]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[4, 3]", "[4, 4]", "do not add up"),
        ("[0, 1, 2, 3, 2, 1, 4]", "[0, 1, 2, 3, 2, 1, 9]", "points that are not there"),
        ("[2, 4]", "[2, 9]", "moves points that are not there"),
        ("[2, 4]", "[2]", "one offset for each"),
        ("[0,1, 0,1, 1,0, 1,0, 0,0]", "[0,1, 0,1, 1,0, 1,0, 7,0]", "beyond the 2"),
        ("[0,1, 0,1, 1,0, 1,0, 0,0]", "[0,1, 0,1]", "one weight for each"),
        ('["hip/tail", "hip/knee"]', '["hip/tail", "hip/fin"]', "`hip/fin`"),
        ("(0,0,10,1))\n        texCoord", "(0,0,nan,1))\n        texCoord", "no number"),
        ("(200,50,0)]", "(200,inf,0)]", "no number"),
    ],
)
def test_what_does_not_fit_is_refused(old: str, new: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(UnreadableModel, match=told):
        read(tmp_path, (old, new))


def test_unknown_meshes_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UnreadableModel, match="`hat`"):
        read(tmp_path, meshes=("hat",))
    assert read(tmp_path, meshes=("skin",)).vertex_count == 6
