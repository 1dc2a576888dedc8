"""Mirrored poses of a skin, made of its skinning matrices and never of joints' own axes.

With S the reflection, a joint whose partner moves the skin by M moves it by S M S. That holds whatever frames the
joints have, so it can check what was computed from these frames: axes, partners' spans, shapes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.spatial.transform import Rotation

from plica.evaluate.pose_mirror import control_partners
from plica.evaluate.poses import Poses, rest_poses
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.deform import Deformer, Motion
from plica.mesh.joint_matrices import Kinematics, composed, inverted
from plica.mesh.neutral_skin import moves
from plica.mesh.symmetry import SymmetryMap
from plica.rig.rig import Rig
from plica.skeleton.algebra import Vector
from plica.skeleton.planes import Plane


class SkinSymmetry(NamedTuple):
    """The mirror plane, with this unit normal at `offset` metres, and for each vertex (v,) the first vertex of its
    partner, -1 for none."""

    normal: Vector
    offset: float
    partners: Integers

    @classmethod
    def of(cls, symmetry: SymmetryMap | None) -> SkinSymmetry | None:
        """That of a map; None for none."""
        if symmetry is None:
            return None
        return cls(symmetry.plane.normal, symmetry.plane.offset, symmetry.vertex_partners)

    @property
    def reflection(self) -> Floats:
        """The reflection as an affine matrix (3, 4)."""
        plane = Plane(self.normal, self.offset)
        return np.column_stack([plane.reflection, plane.reflect((0.0, 0.0, 0.0))])


class SkinMirror:
    """Mirrors the poses of one mesh.

    A joint without a partner on its other side, as in the middle, is its own. A joint that no skin is bound to counts
    from where it stands in the neutral stance, and all do where the skin was bound in another pose: with N the matrix
    by which the stance moves a joint's stored skin, and P that of its partner, the mirror image of M is S M P^-1 S N.
    """

    def __init__(self, rig: Rig, mesh: Mesh, symmetry: SkinSymmetry) -> None:
        """Raises ValueError where a skin is bound to a joint by a matrix that has no inverse."""
        joints = rig.skeleton
        number = {joint.name: index for index, joint in enumerate(joints)}
        self._names = tuple(number)
        partners = [number.get(joint.partner or "", index) for index, joint in enumerate(joints)]
        self._partners = np.array(partners, np.intp)
        self._parents = np.array([-1 if joint.parent is None else number[joint.parent] for joint in joints], np.intp)
        self._scales = np.array([joint.neutral.scale for joint in joints], np.float64).reshape(-1, 3)
        self._kinematics = Kinematics(rig)
        self._reflection = symmetry.reflection
        self._rest = rest_poses(rig)
        self._controls = control_partners(rig)
        self._mesh = mesh
        self._to_neutral = inverted(self._kinematics.globals(self._rest)[0])
        self._stance = self._kinematics.skins(mesh, self._rest)[0]
        self._stored = not moves(self._stance)
        # Of a joint in several skins the first counts.
        for bind in range(len(mesh.bind_joints) - 1, -1, -1) if self._stored else ():
            self._to_neutral[mesh.bind_joints[bind]] = mesh.inverse_binds[bind, :3]
        self._from_neutral = inverted(self._to_neutral)
        self._binds = _bind_partners(mesh, self._partners)

    def motion(self, deformer: Deformer, poses: Poses) -> Motion:
        """What the mesh does in the mirrored poses: the strengths and weights they give, and skin matrices S M S."""
        placed = self._kinematics.globals(poses)
        since = self._across(composed(placed, self._to_neutral)[:, self._partners])
        read = deformer.motion(self._poses(poses, composed(since, self._from_neutral)))
        if not self._stored:
            skins = composed(since[:, self._mesh.bind_joints], self._stance)
            return Motion(read.strengths, skins, read.weights)
        own = composed(placed[:, self._mesh.bind_joints], self._mesh.inverse_binds[:, :3])
        known = self._binds >= 0
        skins = since[:, self._mesh.bind_joints]
        skins[:, known] = self._across(own[:, self._binds[known]])
        return Motion(read.strengths, skins, read.weights)

    def poses(self, poses: Poses) -> Poses:
        """The mirrored poses, of every joint and control."""
        since = composed(self._kinematics.globals(poses), self._to_neutral)
        return self._poses(poses, composed(self._across(since[:, self._partners]), self._from_neutral))

    def _across(self, matrices: Floats) -> Floats:
        return composed(composed(self._reflection, matrices), self._reflection)

    def _poses(self, poses: Poses, placed: Floats) -> Poses:
        """Mirrored poses with the joints placed so in model space, (frames, joints, 3, 4)."""
        local = placed.copy()
        below = self._parents >= 0
        local[:, below] = composed(inverted(placed[:, self._parents[below]]), placed[:, below])
        sizes, scales = np.repeat(self._scales[np.newaxis], poses.frames, axis=0), None
        if poses.scales is not None:
            scales = sizes = np.copysign(np.linalg.norm(local[..., :3], axis=2), sizes)
        # The nearest rotation: what is left of scales and shear is rounding, or no pose can have it.
        left, _, right = np.linalg.svd(local[..., :3] / np.where(sizes == 0.0, 1.0, sizes)[:, :, np.newaxis])
        rotations = Rotation.from_matrix((left @ right).reshape(-1, 3, 3)).as_quat().reshape(*local.shape[:2], 4)
        controls = self._mirrored_controls(poses)
        return Poses(self._names, rotations, local[..., 3], self._rest.control_names, controls, scales)

    def _mirrored_controls(self, poses: Poses) -> Floats:
        result = np.repeat(self._rest.controls, poses.frames, axis=0)
        columns = {name: column for column, name in enumerate(self._rest.control_names)}
        for column, name in enumerate(poses.control_names):
            partner = self._controls[name]
            if partner is not None:
                result[:, columns[partner]] = poses.controls[:, column]
        return result


def _bind_partners(mesh: Mesh, partners: Integers) -> Integers:
    """For each bind (binds,) that of its joint's partner, of several the one with the same place among them; -1 for
    none."""
    of_joint: dict[int, list[int]] = {}
    for bind, joint in enumerate(mesh.bind_joints.tolist()):
        of_joint.setdefault(joint, []).append(bind)
    result = np.full(len(mesh.bind_joints), -1)
    for joint, binds in of_joint.items():
        for bind, partner in zip(binds, of_joint.get(int(partners[joint]), ()), strict=False):
            result[bind] = partner
    return result
