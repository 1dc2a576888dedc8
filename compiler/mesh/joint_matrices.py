"""Joint matrices and skin matrices of many frames at once.

Affine matrices are kept as their upper three rows, (..., 3, 4): the linear part and the translation.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.poses import Poses
from plica.mesh.arrays import Floats, Mesh
from plica.rig.rig import Rig


class Kinematics:
    """A rig's skeleton, ready to be posed over any number of frames."""

    def __init__(self, rig: Rig) -> None:
        """Raises ValueError where a parent does not come before its child."""
        skeleton = skeleton_of(rig)
        joints = skeleton.joints
        self._index = dict(skeleton.index)
        self._rotations = np.array([joint.rotation for joint in joints], dtype=np.float64).reshape(-1, 4)
        self._translations = np.array([joint.translation for joint in joints], dtype=np.float64).reshape(-1, 3)
        self._scales = np.array([joint.scale for joint in joints], dtype=np.float64).reshape(-1, 3)
        self._levels = tuple(_levels([joint.parent for joint in joints]))

    def local(self, poses: Poses) -> Floats:
        """The joints' matrices in their parents, (frames, joints, 3, 4): T R S of glTF 2.0 section 3.5.3.

        Joints that the poses do not name and null quaternions are at rest. Raises ValueError for joints that the rig
        does not have.
        """
        unknown = [name for name in poses.joints if name not in self._index]
        if unknown:
            raise ValueError(f"the rig has no joint {unknown[0]}")
        at = np.array([self._index[name] for name in poses.joints], dtype=np.intp)
        rotations = np.repeat(self._rotations[np.newaxis], poses.frames, axis=0)
        translations = np.repeat(self._translations[np.newaxis], poses.frames, axis=0)
        given = poses.rotations.any(axis=2, keepdims=True)
        rotations[:, at] = np.where(given, poses.rotations, self._rotations[at])
        translations[:, at] = poses.translations
        result = np.empty((*rotations.shape[:2], 3, 4))
        scales = self._scales[:, np.newaxis]
        if poses.scales is not None:
            scales = np.repeat(scales[np.newaxis], poses.frames, axis=0)
            scales[:, at, 0] = poses.scales
        np.multiply(rotation_matrices(rotations), scales, out=result[..., :3])
        result[..., 3] = translations
        return result

    def globals(self, poses: Poses) -> Floats:
        """The joints' matrices in model space, (frames, joints, 3, 4). Raises ValueError as `local` does."""
        result = self.local(poses)
        for joints, parents in self._levels:
            result[:, joints] = composed(result[:, parents], result[:, joints])
        return result

    def skins(self, mesh: Mesh, poses: Poses) -> Floats:
        """The skin matrices of a mesh's binds, (frames, binds, 3, 4). Raises ValueError as `local` does."""
        return skin_matrices(mesh, self.globals(poses))


def skin_matrices(mesh: Mesh, joints: Floats) -> Floats:
    """global(joint) x inverse bind (glTF 2.0 section 3.7.3), (frames, binds, 3, 4), from (frames, joints, 3, 4).

    The identity where a joint stands as it did when the mesh was bound.
    """
    return composed(joints[:, mesh.bind_joints], mesh.inverse_binds[:, :3])


def composed(first: Floats, second: Floats) -> Floats:
    """The affine product first x second (second acts first), (..., 3, 4), broadcast."""
    result = np.matmul(first[..., :3], second)
    result[..., 3] += first[..., 3]
    return np.asarray(result)


def inverted(matrices: Floats) -> Floats:
    """The inverses of affine matrices (..., 3, 4). Raises ValueError where one has none."""
    try:
        linear = np.linalg.inv(matrices[..., :3])
    except np.linalg.LinAlgError as error:
        raise ValueError("an affine matrix has no inverse") from error
    result = np.empty_like(matrices)
    result[..., :3] = linear
    result[..., 3] = -np.matmul(linear, matrices[..., 3:])[..., 0]
    return result


def rotation_matrices(quaternions: Floats) -> Floats:
    """The matrices (..., 3, 3) of quaternions (..., 4), x y z w, of any length; the identity where they are null."""
    size = np.sqrt((quaternions * quaternions).sum(axis=-1))
    x, y, z, w = np.moveaxis(quaternions, -1, 0) / np.where(size == 0, 1.0, size)
    result = np.empty((*quaternions.shape[:-1], 3, 3))
    result[..., 0, 0] = 1 - 2 * (y * y + z * z)
    result[..., 0, 1] = 2 * (x * y - z * w)
    result[..., 0, 2] = 2 * (x * z + y * w)
    result[..., 1, 0] = 2 * (x * y + z * w)
    result[..., 1, 1] = 1 - 2 * (x * x + z * z)
    result[..., 1, 2] = 2 * (y * z - x * w)
    result[..., 2, 0] = 2 * (x * z - y * w)
    result[..., 2, 1] = 2 * (y * z + x * w)
    result[..., 2, 2] = 1 - 2 * (x * x + y * y)
    return result


def _levels(parents: list[int | None]) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Joints of one depth below the roots, and their parents, level by level."""
    depths: list[int] = []
    for parent in parents:
        depths.append(0 if parent is None else depths[parent] + 1)
    for depth in range(1, max(depths, default=0) + 1):
        members = [(joint, parents[joint] or 0) for joint, result in enumerate(depths) if result == depth]
        joints, above = np.array(members, dtype=np.intp).T
        yield joints, above
