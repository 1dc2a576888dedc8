"""The control cage: a coarse quad mesh of Wren's left half, built ring by ring, with texture coordinates
and weights.

`half_cage` makes the left half with its open border on the mirror plane; `whole_cage` closes it with its
reflection. All faces are quads, wound counter-clockwise seen from outside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from plica.picture.directions import Floats, Integers
from plica.specs.wren import limbs, otter
from plica.specs.wren.branches import add_digits, add_limb, share_knuckles
from plica.specs.wren.builder import CageBuilder
from plica.specs.wren.features import add_ear, add_eye
from plica.specs.wren.skeleton import wren_skeleton
from plica.specs.wren.trunk import COLUMNS, add_cap, add_trunk
from plica.specs.wren.vectors import MIRROR
from plica.specs.wren.weights import (
    ARM_BENDS,
    LEG_BENDS,
    LIMB_PATCHES,
    CageBend,
    dense,
    finger_bends,
    mirrored_weights,
    with_patches,
)


@dataclass(frozen=True)
class Cage:
    """A quad mesh: positions (n, 3), faces (m, 4), and for each face its island and corner coordinates.

    `corners` is (m, 4, 2) in metres, each island in its own plane with u to the right and v down; `weights`
    is (n, joints).
    """

    positions: Floats
    faces: Integers
    corners: Floats
    islands: tuple[str, ...]
    weights: Floats


def half_cage() -> Cage:
    """The left half, its border on the plane x = 0 exactly."""
    builder = CageBuilder()
    trunk = add_trunk(builder)
    add_cap(builder, trunk.ids[-1], np.array([0.0, 0.0, 1.0]), 0.006, "nose")
    add_cap(builder, trunk.ids[0], np.array([0.0, 0.0, -1.0]), 0.008, "tail_tip")
    arm_loop = [trunk.ids[i][j] for i, j in trunk.loop(otter.ARM_PATCH)]
    leg_loop = [trunk.ids[i][j] for i, j in trunk.loop(otter.LEG_PATCH)]
    paw = add_limb(builder, arm_loop, otter.ARM, limbs.arm_frames(), ("collar_lf", ARM_BENDS), "arm")
    foot = add_limb(builder, leg_loop, otter.LEG, limbs.leg_frames(), ("hips", LEG_BENDS), "leg")
    names = [digit.name for digit in otter.FINGERS]
    chains = [("paw_lf", finger_bends(name)) for name in names]
    add_digits(builder, paw, limbs.fingers(), otter.FINGERS, otter.FINGER_RINGS, chains)
    share_knuckles(builder, paw, names)
    toe_chains: list[tuple[str, tuple[CageBend, ...]]] = [("toes_lf", ())] * len(otter.TOES)
    add_digits(builder, foot, limbs.toes(), otter.TOES, otter.TOE_RINGS, toe_chains)
    add_eye(builder, trunk)
    add_ear(builder, trunk)
    return _finished(builder)


def _finished(builder: CageBuilder) -> Cage:
    """Drops the vertices that the limbs' openings left unused."""
    skeleton = wren_skeleton()
    faces = np.array(builder.faces, dtype=np.int64)
    used, renumbered = np.unique(faces, return_inverse=True)
    positions = np.array(builder.places)[used]
    weights = dense([builder.blends[index] for index in used], skeleton)
    trunk_only = np.isin(used, np.arange(len(otter.BODY) * (COLUMNS + 1)))
    patched = with_patches(weights, positions, LIMB_PATCHES, skeleton)
    weights[trunk_only] = patched[trunk_only]
    return Cage(positions, renumbered.reshape(faces.shape), np.array(builder.corners), tuple(builder.islands), weights)


def whole_cage(half: Cage) -> Cage:
    """The half joined to its reflection: the left faces first, then the right ones in the same order.

    The right faces' `corners` and `islands` are those of their left partners.
    """
    on_plane = half.positions[:, 0] == 0.0
    count = len(half.positions)
    partner = np.arange(count)
    partner[~on_plane] = count + np.arange(int(np.sum(~on_plane)))
    right = partner[half.faces][:, ::-1]
    return Cage(
        np.concatenate([half.positions, half.positions[~on_plane] @ MIRROR]),
        np.concatenate([half.faces, right]),
        np.concatenate([half.corners, half.corners[:, ::-1]]),
        half.islands * 2,
        np.concatenate([half.weights, mirrored_weights(half.weights[~on_plane], wren_skeleton())]),
    )
