"""The skins of two states of a character, each posed as the other is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from plica.diagnostics import Diagnostics
from plica.diff.character_state import CharacterState
from plica.evaluate.poses import Poses
from plica.mesh.arrays import Floats
from plica.mesh.attach import Attached, attach
from plica.mesh.computed_cache import ComputedCache
from plica.mesh.deform import Deformer
from plica.rig.rig import Rig
from plica.skeleton.quaternions import conjugate, multiply


@dataclass(frozen=True, eq=False)
class PosableSkin:
    """A state's mesh, ready to be posed."""

    rig: Rig
    attached: Attached
    deformer: Deformer

    def positions(self, poses: Poses, of: Rig) -> Floats:
        """The skin (frames, v, 3), metres, in poses of another rig."""
        blocks = self.deformer.positions(in_other_state(poses, of, self.rig))
        return np.concatenate([block.positions for block in blocks])


def posable_skin(state: CharacterState, memory: ComputedCache, rig: Rig | None = None) -> PosableSkin | str:
    """The state's skin, or why there is none. `rig`: that of the state with joints called otherwise."""
    if state.locate is None or state.rig.character.geometry is None:
        return "it has no mesh to draw"
    diagnostics = Diagnostics()
    attached = attach(state.rig, state.locate, diagnostics, memory=memory)
    error = next((one.message for one in diagnostics.all if one.severity == "error"), None)
    if attached is None or error is not None:
        return error or "its mesh cannot be read"
    posed = rig or state.rig
    return PosableSkin(posed, attached, Deformer(attached.mesh, posed, attached.shapes))


def in_other_state(poses: Poses, of: Rig, to: Rig) -> Poses:
    """Poses of one state's rig as poses of the other's: each joint moves since its own neutral stance as it does since
    that of the first. Joints and controls that the other state lacks are left out.
    """
    was = {joint.name: joint.neutral for joint in of.skeleton}
    now = {joint.name: joint.neutral for joint in to.skeleton}
    controls = {control.name for control in to.controls}
    joints = [row for row, name in enumerate(poses.joints) if name in now]
    names = tuple(poses.joints[row] for row in joints)
    held = [row for row, name in enumerate(poses.control_names) if name in controls]
    old, new = (np.array([rests[name].rotation for name in names]).reshape(-1, 4) for rests in (was, now))
    rotations = poses.rotations[:, joints]
    turned = multiply(new, multiply(conjugate(old), rotations))
    still: list[Floats] = [np.array([rests[name].translation for name in names]).reshape(-1, 3) for rests in (was, now)]
    scales = None
    if poses.scales is not None:
        before, after = (np.array([rests[name].scale for name in names]).reshape(-1, 3) for rests in (was, now))
        scales = poses.scales[:, joints] * np.where(before != 0.0, after / np.where(before != 0.0, before, 1.0), 1.0)
    return Poses(
        names,
        np.where((old == new).all(axis=1)[:, np.newaxis], rotations, turned),
        poses.translations[:, joints] + (still[1] - still[0]),
        tuple(poses.control_names[row] for row in held),
        poses.controls[:, held],
        scales,
    )
