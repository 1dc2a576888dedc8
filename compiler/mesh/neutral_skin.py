"""The skin as the neutral stance poses it, in which left mirrors right.

Where the stance is the pose in which the skin was bound, that is the mesh as it is stored. Else the stored mesh may
stand in any pose, and partners, sides and feathers are looked for on the posed skin; offsets go there, across the
plane, and back: with A a vertex's matrix in the stance and B its partner's, the mirror image of d is B^-1 S A d.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from plica.evaluate.poses import rest_poses
from plica.mesh.arrays import Floats, Integers, Mesh, Offsets
from plica.mesh.joint_matrices import Kinematics
from plica.mesh.mirror import Mirrored, mirrored
from plica.mesh.skinning import Skinning
from plica.mesh.unpose import IllConditioned, Unposer
from plica.rig.rig import Rig
from plica.skeleton.algebra import Vector

STORED = 1e-5
"""A skin matrix that differs less from the identity differs by what files round off: the stored mesh is the neutral
skin."""


@dataclass(frozen=True, eq=False)
class NeutralSkin:
    """mesh: as it stands in the neutral stance; `linear` (v, 3, 3) takes stored offsets there and `unposer` back, both
    None where the stored mesh stands there already.
    """

    mesh: Mesh
    linear: Floats | None = None
    unposer: Unposer | None = None

    def mirrored(self, offsets: Offsets, partners: Integers, normal: Vector) -> tuple[Mirrored, IllConditioned | None]:
        """Stored offsets mirrored through the neutral stance, as `mirror.mirrored` has it, and where the stance folds
        the skin so flat that they cannot be taken back (None: nowhere). Normals do not come with posed ones.
        """
        if self.linear is None or self.unposer is None:
            return mirrored(offsets, partners, normal), None
        turned = np.einsum("vij,vj->vi", self.linear[offsets.indices], offsets.offsets)
        image = mirrored(Offsets(offsets.indices, turned), partners, normal)
        back = self.unposer.sparse(image.offsets)
        return image._replace(offsets=back.offsets), back.ill if back.ill.count else None


def neutral_skin(rig: Rig, mesh: Mesh) -> NeutralSkin:
    """The skin of a rig's mesh in the rig's neutral stance."""
    skins = Kinematics(rig).skins(mesh, rest_poses(rig))
    if not len(mesh.bind_joints) or not moves(skins[0]):
        return NeutralSkin(mesh)
    skinning, method = Skinning(mesh), rig.character.skinning
    (matrices,) = skinning.matrices(skins, method)
    linear = matrices[:, :, :3]
    posed = np.einsum("vij,vj->vi", linear, mesh.positions) + matrices[:, :, 3]
    unposer = Unposer(skinning, mesh.positions, skins[0], None, method)
    return NeutralSkin(replace(mesh, positions=posed, normals=None), linear, unposer)


def moves(skins: Floats) -> bool:
    """Whether skin matrices (binds, 3, 4) of a stance take the stored mesh anywhere."""
    return bool(np.abs(skins - np.eye(3, 4)).max(initial=0.0) > STORED)
