"""The one entry to meshes and sculpts of any format. Each format's reader is loaded when a file needs it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

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
    mesh = read_mesh(path, [joint.name for joint in rig.skeleton], geometry.meshes if geometry else ())
    if geometry is None or geometry.unit is None:
        return mesh
    return resized(mesh, geometry.unit / unit_as_read(path))


def unit_as_read(path: Path) -> float:
    """How many metres `read_mesh` takes one length of a file for. Raises UnreadableModel."""
    if is_usd(path):
        from plica.readers.usd_reader import read_stage

        return read_stage(path).unit
    return 1.0  # glTF 2.0, section 3.4


def resized(mesh: Mesh, factor: float) -> Mesh:
    """The mesh in a model space that is `factor` times as large, as `plica.skeleton.skeleton.resized` takes joints."""
    if factor == 1.0:
        return mesh
    inverse_binds = mesh.inverse_binds.copy()
    inverse_binds[:, :3, 3] *= factor
    larger = np.diag((factor, factor, factor, 1.0))
    return replace(
        mesh,
        positions=mesh.positions * factor,
        parts=tuple(replace(part, to_model=larger @ part.to_model) for part in mesh.parts),
        inverse_binds=inverse_binds,
        morphs={name: replace(moves, offsets=moves.offsets * factor) for name, moves in mesh.morphs.items()},
    )
