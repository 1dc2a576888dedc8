"""Wren's sculpted shapes: offsets of the left side, made over the posed mesh as an artist would make them. What the
skin does by itself where limbs and fingers bend is drafted: `drafts`.

Each is stored sparsely: the vertices that move (in glTF vertex order) and by how much, in metres, in the
model space of the pose it was sculpted in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from plica.mesh.fingerprint import fingerprint_of
from plica.mesh.npz import written
from plica.picture.directions import Floats, smooth_step, unit
from plica.specs.wren import otter, steps
from plica.specs.wren.limbs import arm_frames
from plica.specs.wren.model import DemoModel
from plica.specs.wren.skinning import WrenPose, skinned, turn
from plica.specs.wren.vectors import falloff

SMALLEST: Final = 2e-5
"""Offsets below this length, in metres, are not stored."""


@dataclass(frozen=True)
class PosedSkin:
    """The mesh in one pose: rest and posed positions and posed normals, (n, 3) each."""

    model: DemoModel
    pose: WrenPose
    rest: Floats
    positions: Floats
    normals: Floats


def welded_normals(model: DemoModel, positions: Floats) -> Floats:
    """Vertex normals (n, 3) of a posed mesh, equal on vertices that share a place."""
    corners = positions[model.triangles]
    areas = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    places = model.welded[model.triangles].ravel()
    sums = [np.bincount(places, weights=np.repeat(areas[:, axis], 3)) for axis in range(3)]
    by_place = unit(np.stack(sums, axis=1))
    normals: Floats = by_place[model.welded]
    return normals


def posed(model: DemoModel, pose: WrenPose) -> PosedSkin:
    """The mesh and its normals in a pose."""
    positions = skinned(model, pose)
    return PosedSkin(model, pose, model.positions, positions, welded_normals(model, positions))


def _weight_of(model: DemoModel, *names: str) -> Floats:
    numbers = [model.skeleton.number[name] for name in names]
    weights: Floats = np.where(np.isin(model.joints, numbers), model.weights, 0.0).sum(axis=1)
    return weights


def _near(points: Floats, center: Floats | otter.Point, radius: float) -> Floats:
    return falloff(np.linalg.norm(points - np.asarray(center), axis=1), radius)


# --- the shapes ---------------------------------------------------------------------------------------------


def _upperarm_swell(state: PosedSkin) -> Floats:
    """The flexor, and the triceps, drawn long and broad."""
    shoulder, elbow = (np.asarray(otter.ARM_STATIONS[k]) for k in (0, 1))
    flexor = shoulder + 0.60 * (elbow - shoulder) + 0.036 * state.model.skeleton["upperarm_lf"].frame[:, 2]
    arm = smooth_step(_weight_of(state.model, "upperarm_lf") * 1.6)
    swell = 0.006 * _near(state.rest, flexor, 0.058) * arm
    behind = shoulder + 0.70 * (elbow - shoulder) - 0.020 * state.model.skeleton["upperarm_lf"].frame[:, 2]
    swell = np.maximum(swell, 0.006 * _near(state.rest, behind, 0.078) * arm)
    return swell[:, None] * state.normals


def _wrist_tendons(state: PosedSkin) -> Floats:
    """Four cords from the wrist to the knuckles, and a dent before each, on the back of the bent paw."""
    skeleton = state.model.skeleton
    wrist = skeleton["paw_lf"]
    dorsal = wrist.frame[:, 0]
    total = np.zeros(len(state.rest))
    for finger in otter.FINGERS:
        start = (
            wrist.place
            - 0.020 * wrist.frame[:, 1]
            + 0.25 * (skeleton[f"{finger.name}_1_lf"].place - skeleton["middle_1_lf"].place)
        )
        line = skeleton[f"{finger.name}_1_lf"].place - start
        share = np.clip((state.rest - start) @ line / np.dot(line, line), 0.0, 1.0)
        off = state.rest - start - share[:, None] * line
        sideways = off - np.outer(off @ dorsal, dorsal)
        cord = falloff(np.linalg.norm(sideways, axis=1), 0.009)
        total = np.maximum(total, cord * smooth_step(share / 0.25) * smooth_step((1.0 - share) / 0.12 + 0.4))
    back = smooth_step((arm_back(state) - 0.15) / 0.5)
    skin = _weight_of(state.model, "paw_lf", "lowerarm_lf")
    return (0.0024 * total * back * skin)[:, None] * state.normals


def arm_back(state: PosedSkin) -> Floats:
    """How much each rest normal faces the back of the left paw, from -1 to 1, shape (n,)."""
    facing: Floats = state.model.normals @ arm_frames()[-3].dorsal
    return facing


def _brow_raise(state: PosedSkin) -> Floats:
    pad = np.asarray(otter.BROW_PAD)
    up = state.model.skeleton["browpad_lf"].frame[:, 1]
    ridge = _near(state.rest, pad, 0.030)
    above = (state.rest - pad) @ up
    fold = _near(state.rest, pad + 0.016 * up, 0.030) * np.cos(2.0 * np.pi * above / 0.017)
    offsets: Floats = np.outer(0.0038 * ridge, up)
    offsets += (0.0034 * ridge - 0.0014 * fold)[:, None] * state.normals
    return offsets


def _whisker_lift(state: PosedSkin) -> Floats:
    pad = np.asarray(otter.WHISKER_PAD)
    frame = state.model.skeleton["whiskerpad_lf"].frame
    puff = _near(state.rest, pad, 0.030)
    cheek = _near(state.rest, pad + 0.017 * frame[:, 1] + np.array([0.006, 0.0, -0.022]), 0.028)
    lift = np.outer(0.0015 * puff, frame[:, 1])
    return lift + (0.0032 * puff + 0.0018 * cheek)[:, None] * state.normals


def elbow_pose() -> WrenPose:
    """The pose of `upperarm_swell`, and that `elbow_crease` is drafted in: the left elbow at 130 degrees."""
    return {"lowerarm_lf": turn(("x", 130.0))}


def wrist_pose() -> WrenPose:
    """The pose of `wrist_tendons`: the left paw at 60 degrees."""
    return {"paw_lf": turn(("z", 60.0))}


def finger_pose(finger: str, degrees: float) -> WrenPose:
    """The pose of a finger's knuckle shapes: its first joint at `degrees`."""
    return {f"{finger}_1_lf": turn(("z", degrees))}


def _stored(model: DemoModel, offsets: Floats) -> bytes:
    # Only the left: soft towards the mirror plane, so that both sides together stay smooth.
    own = offsets * smooth_step(model.positions[:, 0] / 0.008)[:, None]
    own = steps.rounded(own, steps.SKIN)
    indices = np.flatnonzero(np.linalg.norm(own, axis=1) > SMALLEST)
    return written(
        {
            "indices": indices.astype(np.int32),
            "offsets": own[indices].astype(np.float32),
            "vertex_count": np.array(len(offsets), dtype=np.int64),
            "fingerprint": np.array(str(fingerprint_of(model.positions, model.triangles))),
        }
    )


def sculpts(model: DemoModel) -> dict[str, bytes]:
    """Every sculpt that is not drafted, as an NPZ file, by its path below the demo's folder."""
    rest = posed(model, {})
    shapes = {
        "upperarm_swell": _upperarm_swell(posed(model, elbow_pose())),
        "wrist_tendons": _wrist_tendons(posed(model, wrist_pose())),
        "brow_raise": _brow_raise(rest),
        "whisker_lift": _whisker_lift(rest),
    }
    return {f"sculpts/{name}.npz": _stored(model, offsets) for name, offsets in shapes.items()}
