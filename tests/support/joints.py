"""Joints of a rig whose neutral stance is the file's rest."""

from __future__ import annotations

from plica.rig.rig import RigJoint
from plica.skeleton.algebra import IDENTITY_QUATERNION, Quaternion, Vector
from plica.skeleton.skeleton import ORIGIN, UNSCALED, LocalTransform
from plica.values import Side


def rig_joint(
    name: str,
    parent: str | None = None,
    translation: Vector = ORIGIN,
    rotation: Quaternion = IDENTITY_QUATERNION,
    scale: Vector = UNSCALED,
    side: Side = "none",
    partner: str | None = None,
    skinned: bool = True,
) -> RigJoint:
    """A joint whose two poses are one."""
    placed = LocalTransform(translation, rotation, scale)
    return RigJoint(name, parent, placed, placed, side, partner, skinned)
