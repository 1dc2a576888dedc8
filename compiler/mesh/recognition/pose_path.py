"""The character's skin on the way from rest to a pose, as far as a file may have been left behind or gone beyond."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from plica.evaluate.poses import Poses, rest_poses
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.deform import Deformer
from plica.mesh.inbetweens import Inbetweens
from plica.rig.rig import Rig
from plica.skeleton.quaternions import slerp


class PosePath:
    """Poses at shares of the way from rest (0) to a pose (1) and beyond: turns along the shortest arc, the rest evenly.

    The shapes that are on have the strengths that each pose gives.
    """

    def __init__(self, mesh: Mesh, rig: Rig, shapes: Mapping[str, Inbetweens], pose: Poses) -> None:
        """shapes: those that are on, by name; pose: one frame with every joint and control of the rig."""
        self._deformer = Deformer(mesh, rig, shapes)
        self._rest, self._pose = rest_poses(rig), pose

    def poses(self, shares: Floats) -> Poses:
        """One frame for each share (n,)."""
        rest, pose = self._rest, self._pose
        way = shares[:, None]
        still = np.repeat(rest.rotations, len(shares), axis=0)
        turned = np.repeat(pose.rotations, len(shares), axis=0)
        share = np.broadcast_to(way, still.shape[:2]).reshape(-1)
        turns = slerp(still.reshape(-1, 4), turned.reshape(-1, 4), share).reshape(turned.shape)
        exact = (way == 1.0)[..., None]
        return replace(
            pose,
            rotations=np.where(exact, turned, turns),
            translations=rest.translations + way[..., None] * (pose.translations - rest.translations),
            controls=rest.controls + way * (pose.controls - rest.controls),
            scales=None if pose.scales is None else np.repeat(pose.scales, len(shares), axis=0),
        )

    def positions(self, shares: Floats) -> Floats:
        """The skin (n, v, 3) at shares (n,), metres of model space."""
        poses = self.poses(shares)
        blocks = [block.positions for block in self._deformer.positions(poses)]
        return np.concatenate(blocks)
