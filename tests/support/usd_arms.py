"""The two tubes of `tests.support.arms` as an OpenUSD stage, skinned as it says or does not say."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from plica.evaluate.pose_components import skeleton_of
from plica.mesh.arrays import Floats, Mesh
from plica.rig.rig import Rig
from plica.skeleton.skeleton import Frame


def usd_arms(folder: Path, rig: Rig, mesh: Mesh, methods: Sequence[str] = (), root: str = "") -> Path:
    """A stage `arms.usda` with a mesh of the same vertices for each method, `skin`, `skin_2`, ...

    methods: what `primvars:skel:skinningMethod` of each says, empty to say nothing; root: what their SkelRoot says.
    """
    skeleton = skeleton_of(rig)
    paths: list[str] = []
    for joint in skeleton.joints:
        paths.append(joint.name if joint.parent is None else f"{paths[joint.parent]}/{joint.name}")
    binds = [_matrix(frame) for frame in skeleton.frames]
    rests = [
        bind if joint.parent is None else np.linalg.inv(binds[joint.parent]) @ bind
        for joint, bind in zip(skeleton.joints, binds, strict=True)
    ]
    meshes = "".join(
        _mesh("skin" if not number else f"skin_{number + 1}", mesh, method)
        for number, method in enumerate(methods or ("",))
    )
    names = ", ".join(f'"{path}"' for path in paths)
    stage = f"""#usda 1.0
(
    metersPerUnit = 1
    upAxis = "Y"
)
def SkelRoot "Root" (prepend apiSchemas = ["SkelBindingAPI"])
{{
    rel skel:skeleton = </Root/Skeleton>
    {_stated(root)}
    def Skeleton "Skeleton"
    {{
        uniform token[] joints = [{names}]
        uniform matrix4d[] bindTransforms = [{", ".join(map(_written, binds))}]
        uniform matrix4d[] restTransforms = [{", ".join(map(_written, rests))}]
    }}
{meshes}}}
"""
    path = folder / "arms.usda"
    path.write_text(stage, "utf-8")
    return path


def _mesh(name: str, mesh: Mesh, method: str) -> str:
    points = ", ".join(f"({x!r}, {y!r}, {z!r})" for x, y, z in mesh.positions.tolist())
    each = mesh.joints.shape[1]
    joints = mesh.bind_joints[mesh.joints]
    return f"""    def Mesh "{name}" (prepend apiSchemas = ["SkelBindingAPI"])
    {{
        int[] faceVertexCounts = {[3] * len(mesh.triangles)}
        int[] faceVertexIndices = {mesh.triangles.reshape(-1).tolist()}
        point3f[] points = [{points}]
        int[] primvars:skel:jointIndices = {joints.reshape(-1).tolist()} (
            interpolation = "vertex"
            elementSize = {each}
        )
        float[] primvars:skel:jointWeights = {mesh.weights.reshape(-1).tolist()} (
            interpolation = "vertex"
            elementSize = {each}
        )
        {_stated(method)}
    }}
"""


def _stated(method: str) -> str:
    return f'uniform token primvars:skel:skinningMethod = "{method}"' if method else ""


def _matrix(frame: Frame) -> Floats:
    result = np.eye(4)
    result[:3, :3], result[:3, 3] = frame.linear, frame.origin
    return result


def _written(matrix: Floats) -> str:
    """A matrix as OpenUSD writes it, for row vectors."""
    return "(" + ", ".join("(" + ", ".join(map(repr, row)) + ")" for row in matrix.T.tolist()) + ")"
