"""Wren's sculpted shapes: offsets of the left side, made over the posed mesh as an artist would make them.

Each is stored sparsely: the vertices that move (in glTF vertex order) and by how much, in metres, in the
model space of the pose it was sculpted in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from plica.mesh.fingerprint import fingerprint_of
from plica.mesh.npz import written
from plica.picture.directions import Floats, smooth_step, unit
from plica.specs.wren import otter, steps
from plica.specs.wren.easing import eased
from plica.specs.wren.limbs import arm_frames
from plica.specs.wren.model import DemoModel
from plica.specs.wren.skinning import WrenPose, blended, skin_matrices, skinned, turn
from plica.specs.wren.vectors import falloff

SMALLEST: Final = 2e-5
"""Offsets below this length, in metres, are not stored."""
LARGEST: Final = 0.030
"""No offset is longer, in metres; only flesh pressed flat in the depth of a fold comes near."""
ROUNDING: Final = 0.003
"""How softly, in metres, the flattened skin in a crease passes into the free skin."""
CLEARANCE: Final = 0.0006
"""Half the gap that a crease leaves between the skin on its two sides, in metres."""


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


def _kept_size(state: PosedSkin, joint: str) -> Floats:
    """What blending took away at a joint: offsets (n, 3) to where the nearest rotation would have put the
    skin.

    The blended matrix is replaced by the rotation of its polar decomposition, about the joint's place,
    which is the closest rotation in the Frobenius norm (Higham 1986, "Computing the polar decomposition -
    with applications").
    """
    model = state.model
    matrices = blended(model, state.pose)[:, :3, :3]
    left, _, right = np.linalg.svd(matrices)
    place = model.skeleton[joint].place
    carried = skin_matrices(model.skeleton, state.pose)[model.skeleton.number[joint]]
    center = carried[:3, :3] @ place + carried[:3, 3]
    ideal = center + np.einsum("nij,nj->ni", left @ right, state.rest - place)
    offsets: Floats = ideal - state.positions
    return offsets


@dataclass(frozen=True)
class _Fold:
    """A closed hinge: its place, the two ways its bones lead away from it, and the plane halfway between
    them.
    """

    center: Floats
    opening: Floats
    normal: Floats  # from the upper bone's side of the plane to the lower bone's

    @staticmethod
    def of(state: PosedSkin, upper: str, lower: str) -> _Fold:
        skeleton = state.model.skeleton
        hinge = skeleton[lower]
        moved = skin_matrices(skeleton, state.pose)[skeleton.number[lower]]
        down = unit(moved[:3, :3] @ hinge.frame[:, 1])
        up = -skeleton[upper].frame[:, 1]
        return _Fold(moved[:3, :3] @ hinge.place + moved[:3, 3], unit(up + down), unit(down - up))


def _apart(state: PosedSkin, before: Floats, upper: str, lower: str) -> Floats:
    """Offsets (n, 3) that press both sides of a closed hinge flat against the plane halfway between its
    bones.

    `before` (n, 3) are the offsets of everything else that is on at the same time.
    """
    fold = _Fold.of(state, upper, lower)
    from_hinge = state.positions + before - fold.center
    height = from_hinge @ fold.normal
    upper_share, lower_share = _weight_of(state.model, upper), _weight_of(state.model, lower)
    side = np.where(upper_share > lower_share, 1.0, -1.0)
    # How far the skin is on the wrong side of the plane; rounded off, so that no ridge runs round the
    # contact.
    wrong = side * height + CLEARANCE
    push = -side * (wrong + np.hypot(wrong, ROUNDING)) / 2.0
    ahead = smooth_step(from_hinge @ fold.opening / 0.010 + 0.3)
    share = smooth_step(1.6 * (upper_share + lower_share) - 0.1) * ahead
    near = smooth_step((0.17 - np.linalg.norm(from_hinge, axis=1)) / 0.06)
    return (push * share * near)[:, None] * fold.normal


def _aside(state: PosedSkin, upper: str, lower: str, amount: float) -> Floats:
    """Offsets (n, 3): the flesh that a closed hinge displaces comes out at its sides, by up to `amount`
    metres.
    """
    fold = _Fold.of(state, upper, lower)
    near = _near(state.positions, fold.center + 0.045 * fold.opening, 0.130)
    upper_share, lower_share = _weight_of(state.model, upper), _weight_of(state.model, lower)
    facing = (state.normals @ fold.normal) * np.where(upper_share > lower_share, 1.0, -1.0)
    free = smooth_step(1.0 - np.where(facing > 0.0, facing, -0.5 * facing))
    # Where the trunk carries skin too, the small triangles in the depth of the armpit would be torn apart.
    share = smooth_step(2.5 * (upper_share + lower_share) - 1.5)
    return (amount * near * free * share)[:, None] * state.normals


def _settled(state: PosedSkin, moved: Floats, upper: str, lower: str) -> Floats:
    """Offsets (n, 3) that let the skin around a closed hinge give way, so that it is drawn less.

    `moved` (n, 3): all offsets that are on. Skin in contact keeps its distance from the plane halfway between the
    bones, other skin its height.
    """
    model, fold = state.model, _Fold.of(state, upper, lower)
    positions = state.positions + moved
    upper_share, lower_share = _weight_of(model, upper), _weight_of(model, lower)
    from_hinge = positions - fold.center
    gap = np.where(upper_share > lower_share, -1.0, 1.0) * (from_hinge @ fold.normal)
    limb = smooth_step(1.6 * (upper_share + lower_share) - 0.1)
    ahead = smooth_step(from_hinge @ fold.opening / 0.010 + 0.3)
    touching = smooth_step((0.006 - gap) / 0.005) * ahead * limb > 0.5
    across = np.where(touching[:, None], fold.normal, welded_normals(model, positions))
    free = _near(state.rest, model.skeleton[lower].place, 0.100) * limb
    return eased(model, positions, across, free, np.where(touching, 3.0, 2.0))


# --- the shapes ---------------------------------------------------------------------------------------------


def _upperarm_swell(state: PosedSkin) -> Floats:
    shoulder, elbow = (np.asarray(otter.ARM_STATIONS[k]) for k in (0, 1))
    flexor = shoulder + 0.60 * (elbow - shoulder) + 0.036 * state.model.skeleton["upperarm_lf"].frame[:, 2]
    arm = smooth_step(_weight_of(state.model, "upperarm_lf") * 1.6)
    swell = 0.006 * _near(state.rest, flexor, 0.058) * arm
    # The triceps, on the other side, is drawn long and broad.
    behind = shoulder + 0.70 * (elbow - shoulder) - 0.020 * state.model.skeleton["upperarm_lf"].frame[:, 2]
    swell = np.maximum(swell, 0.006 * _near(state.rest, behind, 0.078) * arm)
    return swell[:, None] * state.normals


def _elbow_crease(state: PosedSkin) -> Floats:
    elbow = np.asarray(otter.ARM_STATIONS[1])
    flexion = state.model.skeleton["lowerarm_lf"].frame[:, 2]
    outside = smooth_step(0.5 - (state.rest - elbow) @ flexion / 0.03)
    kept = _kept_size(state, "lowerarm_lf") * (0.85 * outside * _near(state.rest, elbow, 0.075))[:, None]
    own = kept + _aside(state, "upperarm_lf", "lowerarm_lf", 0.008)
    swell = _upperarm_swell(state)
    own = own + _apart(state, own + swell, "upperarm_lf", "lowerarm_lf")
    return own + _settled(state, own + swell, "upperarm_lf", "lowerarm_lf")


def _knee_hold(state: PosedSkin) -> Floats:
    knee = np.asarray(otter.LEG_STATIONS[1])
    flexion = state.model.skeleton["lowerleg_lf"].frame[:, 2]
    front = smooth_step(0.55 - (state.rest - knee) @ flexion / 0.05)
    kept = _kept_size(state, "lowerleg_lf") * (0.9 * front * _near(state.rest, knee, 0.095))[:, None]
    own = kept + _aside(state, "upperleg_lf", "lowerleg_lf", 0.005)
    # Thigh and calf are too thick to be parted altogether; a third of the way keeps the knee's shape.
    return own + 0.35 * _apart(state, own, "upperleg_lf", "lowerleg_lf")


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


def _knuckle(finger: str, amount: float) -> Callable[[PosedSkin], Floats]:
    """A finger's knuckle: keeps half of its size and rises by `amount` metres; the skin around it and of the web
    beside it gives way, so that it is drawn less than bending alone would draw it.
    """

    def offsets(state: PosedSkin) -> Floats:
        model, joint = state.model, state.model.skeleton[f"{finger}_1_lf"]
        own = smooth_step(1.5 * _weight_of(model, f"{finger}_1_lf", "paw_lf", f"{finger}_2_lf"))
        side = np.abs((state.rest - joint.place) @ joint.frame[:, 2])
        lane = smooth_step((0.0125 - side) / 0.006)
        near = _near(state.rest, joint.place, 0.026) * own * lane
        facing = model.normals @ joint.frame[:, 0]
        top = smooth_step(facing / 0.6 + 0.4)
        kept = _kept_size(state, f"{finger}_1_lf") * (0.5 * near * top)[:, None]
        bump = amount * _near(state.rest, joint.place + 0.011 * joint.frame[:, 0], 0.017) * own * lane * top
        raised = kept + bump[:, None] * state.normals
        paw = ["paw_lf", *(f"{other.name}_{number}_lf" for other in otter.FINGERS for number in (1, 2))]
        free = _near(state.rest, joint.place, 0.065) * smooth_step(1.5 * _weight_of(model, *paw))
        free *= smooth_step(facing / 0.6 + 0.8)
        positions = state.positions + raised
        normals = welded_normals(model, positions)
        return raised + eased(model, positions, normals, free, smooth_step((facing - 0.4) / 0.35))

    return offsets


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
    """The pose of `upperarm_swell` and `elbow_crease`: the left elbow at 130 degrees."""
    return {"lowerarm_lf": turn(("x", 130.0))}


def knee_pose() -> WrenPose:
    """The pose of `knee_hold`: the left knee at 120 degrees."""
    return {"lowerleg_lf": turn(("x", 120.0))}


def wrist_pose() -> WrenPose:
    """The pose of `wrist_tendons`: the left paw at 60 degrees."""
    return {"paw_lf": turn(("z", 60.0))}


def finger_pose(finger: str, degrees: float) -> WrenPose:
    """The pose of a finger's knuckle shapes: its first joint at `degrees`."""
    return {f"{finger}_1_lf": turn(("z", degrees))}


def _limited(offsets: Floats) -> Floats:
    """No longer than `LARGEST`; from nine tenths of it on, bent softly towards it rather than cut off."""
    length = np.linalg.norm(offsets, axis=1, keepdims=True)
    free = 0.9 * LARGEST
    bent = free + (LARGEST - free) * np.tanh((length - free) / (LARGEST - free))
    return offsets * np.where(length > free, bent / np.maximum(length, free), 1.0)


def _stored(model: DemoModel, offsets: Floats) -> bytes:
    # Only the left: soft towards the mirror plane, so that both sides together stay smooth.
    limited = _limited(offsets) * smooth_step(model.positions[:, 0] / 0.008)[:, None]
    limited = steps.rounded(limited, steps.SKIN)
    indices = np.flatnonzero(np.linalg.norm(limited, axis=1) > SMALLEST)
    return written(
        {
            "indices": indices.astype(np.int32),
            "offsets": limited[indices].astype(np.float32),
            "vertex_count": np.array(len(offsets), dtype=np.int64),
            "fingerprint": np.array(str(fingerprint_of(model.positions, model.triangles))),
        }
    )


def sculpts(model: DemoModel) -> dict[str, bytes]:
    """Every sculpt as an NPZ file, by its path below the demo's folder."""
    elbow, knee, rest = posed(model, elbow_pose()), posed(model, knee_pose()), posed(model, {})
    shapes = {
        "upperarm_swell": _upperarm_swell(elbow),
        "elbow_crease": _elbow_crease(elbow),
        "knee_hold": _knee_hold(knee),
        "wrist_tendons": _wrist_tendons(posed(model, wrist_pose())),
        "brow_raise": _brow_raise(rest),
        "whisker_lift": _whisker_lift(rest),
    }
    for finger in otter.FINGERS:
        name = finger.name
        shapes[f"{name}_knuckle"] = _knuckle(name, 0.0010)(posed(model, finger_pose(name, 80.0)))
        # Halfway the knuckle has hardly risen yet: the inbetween is its own sculpt, not half of the whole.
        shapes[f"{name}_knuckle_half"] = _knuckle(name, 0.0003)(posed(model, finger_pose(name, 40.0)))
    return {f"sculpts/{name}.npz": _stored(model, offsets) for name, offsets in shapes.items()}
