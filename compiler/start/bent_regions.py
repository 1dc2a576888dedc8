"""Which joints' skin a joint bends: the region that is measured, and that a shape is faded out in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from plica.mesh.arrays import Floats, Mesh
from plica.mesh.point_weights import followers, point_weights
from plica.mesh.weld import first_vertices, point_triangles
from plica.rig.rig import Rig
from plica.start.bending_joints import BendingJoint
from plica.start.name_words import writable
from plica.start.skin_figures import BentRegion
from plica.start.spec_text import joint_text

COVERED: Final = 0.9
"""The share of the skin that a joint bends that its region has to hold."""


def bent_regions(rig: Rig, mesh: Mesh, subjects: Sequence[BendingJoint], bases: Sequence[str]) -> dict[str, BentRegion]:
    """The regions of joints that bend skin, by the name of the subject; those that bend none are left out. `bases`: the
    names of the skeleton's joints without side.

    The skin that a joint bends are the triangles whose corners follow its turn unequally, each counted by its area and
    by how unequally. The joint itself comes first, then others by how much of that skin they hold.
    """
    weights = point_weights(mesh, len(rig.skeleton))
    triangles = point_triangles(mesh)
    places = mesh.positions[first_vertices(mesh.points)]
    one, other, third = (places[triangles[:, corner]] for corner in range(3))
    areas = 0.5 * np.linalg.norm(np.cross(other - one, third - one), axis=1)
    wanted = {subject.joint: subject for subject in subjects}
    result = {}
    for joint, follows in followers(weights, rig):
        if joint not in wanted:
            continue
        at_corners = follows[triangles]
        bent = areas * (at_corners.max(axis=1) - at_corners.min(axis=1))
        if not bent.sum() > 0.0:
            continue
        counted = np.bincount(triangles.reshape(-1), np.repeat(bent, 3), len(places))
        shares = np.asarray(counted @ weights) / counted.sum()
        subject = wanted[joint]
        result[subject.name] = _region(rig, subject, shares, bases)
    return result


def _region(rig: Rig, subject: BendingJoint, shares: Floats, bases: Sequence[str]) -> BentRegion:
    order = [subject.joint, *(int(joint) for joint in np.argsort(-shares, kind="stable") if joint != subject.joint)]
    texts: dict[str, None] = {}
    covered = 0.0
    for joint in order:
        if covered >= COVERED or (joint != subject.joint and shares[joint] <= 0.0):
            break
        if written := _written(rig, subject, joint, bases):
            texts |= dict.fromkeys(written)
            covered += float(shares[joint])
    return BentRegion(tuple(texts), covered)


def _written(rig: Rig, subject: BendingJoint, joint: int, bases: Sequence[str]) -> list[str]:
    """How a declaration writes a joint, one without side both of a pair; nothing where it cannot, as one of both sides
    the other side's joint."""
    entry, own = rig.skeleton[joint], rig.skeleton[subject.joint]
    name = entry.name if entry.partner is None else bases[joint]
    if not writable(name):
        return []
    if entry.partner is None or (subject.paired and entry.side == own.side):
        return [joint_text(name)]
    return [] if subject.paired else [f"left {joint_text(name)}", f"right {joint_text(name)}"]
