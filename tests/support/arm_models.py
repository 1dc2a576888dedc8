"""The arms of `tests.support.arms` as a model on disk, with weights of one's own."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from plica.evaluate.pose_components import skeleton_of
from plica.mesh.arrays import Mesh
from plica.rig.rig import Rig
from tests.support.meshes import Buffers

MODELLED = """plica 1
character otter {
    geometry  "arms.gltf" mesh "skin"
    symmetry  across x
    left  "*_lf"
    right "*_rt"
}
region forearm both { skin of lowerarm }
driver elbow both { reads rotation about z of lowerarm   span 0 deg .. 100 deg   curve smooth }
"""
"""The start of a spec about the model that `write_arms` writes as arms.gltf."""


def write_arms(path: Path, rig: Rig, mesh: Mesh) -> Path:
    """A glTF model of a rig's joints and a mesh that is bound to them; weights are stored in single precision."""
    buffers = Buffers()
    skeleton = skeleton_of(rig)
    fill = 4 - mesh.joints.shape[1]
    joints = np.pad(mesh.joints, ((0, 0), (0, fill)))
    weights = np.pad(mesh.weights, ((0, 0), (0, fill)))
    low, high = mesh.positions.min(axis=0).tolist(), mesh.positions.max(axis=0).tolist()
    attributes = {
        "POSITION": buffers.add(mesh.positions, min=low, max=high),
        "JOINTS_0": buffers.add(joints, np.uint8),
        "WEIGHTS_0": buffers.add(weights),
    }
    indices = buffers.add(mesh.triangles.ravel(), np.uint16)
    nodes: list[dict[str, object]] = [
        {
            "name": joint.name,
            "translation": list(joint.translation),
            "rotation": list(joint.rotation),
            **({"children": below} if (below := skeleton.children(row)) else {}),
        }
        for row, joint in enumerate(skeleton.joints)
    ]
    skin = {"joints": list(range(len(nodes))), "inverseBindMatrices": buffers.add(mesh.inverse_binds)}
    primitive = {"attributes": attributes, "indices": indices}
    buffers.written(
        path,
        {
            "nodes": [*nodes, {"name": "skin", "mesh": 0, "skin": 0}],
            "meshes": [{"name": "skin", "primitives": [primitive]}],
            "skins": [skin],
            "scenes": [{"nodes": [0, len(nodes)]}],
            "scene": 0,
        },
    )
    return path
