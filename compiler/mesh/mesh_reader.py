"""The one entry to meshes and sculpts of any format. Each format's reader is loaded when a file needs it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path

from plica.mesh.arrays import Mesh
from plica.readers.model_reader import is_usd
from plica.rig.rig import Rig


def read_mesh(path: Path, joints: Sequence[str], meshes: Collection[str] = ()) -> Mesh:
    """The named meshes of a glTF or USD model as one (none named: every skinned one).

    `joints`: the names of the rig's joints, in its order; `Mesh.bind_joints` are indexes into them. Raises
    UnreadableModel.
    """
    if is_usd(path):
        from plica.mesh.usd_mesh import read_usd_mesh

        return read_usd_mesh(path, joints, meshes)
    from plica.mesh.gltf_mesh import read_gltf_mesh

    return read_gltf_mesh(path, joints, meshes)


def mesh_of_rig(rig: Rig, path: Path) -> Mesh:
    """The mesh that a rig's character is made of; `path` is where its geometry lies. Raises UnreadableModel."""
    geometry = rig.character.geometry
    return read_mesh(path, [joint.name for joint in rig.skeleton], geometry.meshes if geometry else ())
