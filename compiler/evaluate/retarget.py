"""From a clip's skeleton to the character's."""

from __future__ import annotations

import numpy as np

from plica.diagnostics import Diagnostics
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.poses import Poses
from plica.kinds.readings import joints_of
from plica.readers.clip import Clip
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from plica.skeleton.algebra import Matrix, product, transpose
from plica.skeleton.quaternions import Array, conjugate, multiply
from plica.skeleton.skeleton import Skeleton
from plica.source import Span

SAME_FRAME = 1e-6  # how far the elements of two rest orientations may differ to be taken for the same
SHOWN = 8  # names in a message, the others are counted


def poses_from_clip(rig: Rig, clip: Clip, diagnostics: Diagnostics, span: Span | None = None) -> Poses:
    """The rig's poses in the clip's frames; joints that the clip does not move are left at rest.

    Joints are matched by the rig's aliases, then by name. Each carries its rotation since rest through
    model space: with F the rest orientations, E = F_clip d F_clip^-1 is the rotation since rest there, and
    F^-1 E F what the character's joint does. Translations since rest are carried in metres, for clips whose
    lengths are metres. Scales since rest, diagonal matrices D in the axes of the clip's joint, become K D K^T with K =
    F^-1 F_clip; where that is not diagonal, no scale of the character's joint is the same, and it is reported and left
    at rest. Joints left over on either side are reported once.
    """
    skeleton = skeleton_of(rig)
    matches = matched_joints(rig, clip)
    _report(rig, clip, matches, diagnostics, span)
    frames = len(clip.times)
    rotations = np.empty((frames, len(matches), 4))
    translations = np.empty((frames, len(matches), 3))
    for column, (own, other) in enumerate(matches.items()):
        position = skeleton.index[own]
        joint = skeleton.joints[position]
        rotations[:, column] = _rotations(skeleton, position, clip, other)
        translations[:, column] = joint.translation
        if clip.in_metres:
            translations[:, column] += _translations(skeleton, position, clip, other)
    scales = _scales(skeleton, clip, matches, diagnostics, span)
    controls = tuple(control.name for control in rig.controls)
    rest = np.array([control.rest for control in rig.controls], dtype=np.float64)
    return Poses(tuple(matches), rotations, translations, controls, np.tile(rest, (frames, 1)), scales)


def matched_joints(rig: Rig, clip: Clip) -> dict[str, int]:
    """For the rig's joints that the clip has, in the rig's order, the index of the clip's joint."""
    aliases = {alias.joint: alias.clip_name for alias in rig.aliases if alias.clip_name in clip.rest.index}
    taken = set(aliases.values())
    matches = {}
    for joint in rig.skeleton:
        name = aliases.get(joint.name, joint.name)
        if name in clip.rest.index and (joint.name in aliases or name not in taken):
            matches[joint.name] = clip.rest.index[name]
    return matches


def _rotations(skeleton: Skeleton, position: int, clip: Clip, other: int) -> Array:
    """The joint's local rotations, (frames, 4)."""
    own_rest = np.array(skeleton.joints[position].rotation)
    clip_rest = np.array(clip.rest.joints[other].rotation)
    between = product(transpose(skeleton.orientation(position)), clip.rest.orientation(other))
    same = _is_identity(between)
    if same and np.array_equal(own_rest, clip_rest):
        carried: Array = clip.rotations[:, other]
        return carried
    turn = multiply(conjugate(clip_rest), clip.rotations[:, other])
    if not same:
        carry = np.array(between)
        # The vector part of a rotation is a pseudovector: a mirroring map turns it over.
        turn = np.concatenate((turn[:, :3] @ (carry.T * np.linalg.det(carry)), turn[:, 3:]), axis=1)
    return multiply(own_rest, turn)


def _translations(skeleton: Skeleton, position: int, clip: Clip, other: int) -> Array:
    """What the joint's translation has to be changed by, in its parent, (frames, 3)."""
    moved = clip.translations[:, other] - np.array(clip.rest.joints[other].translation)
    own = np.array(skeleton.parent_frame(position).linear)
    theirs = np.array(clip.rest.parent_frame(other).linear)
    if np.array_equal(own, theirs):
        return np.asarray(moved)
    if abs(np.linalg.det(own)) < 1e-30:
        return np.zeros_like(moved)
    return np.asarray(moved @ np.linalg.solve(own, theirs).T)


def _scales(
    skeleton: Skeleton, clip: Clip, matches: dict[str, int], diagnostics: Diagnostics, span: Span | None
) -> Array | None:
    """The scales of the matched joints, (frames, joints, 3); None where the clip changes none of them."""
    if clip.scales is None:
        return None
    result = np.empty((len(clip.times), len(matches), 3))
    askew = []
    for column, (own, other) in enumerate(matches.items()):
        position = skeleton.index[own]
        rest, theirs = np.array(skeleton.joints[position].scale), np.array(clip.rest.joints[other].scale)
        between = product(transpose(skeleton.orientation(position)), clip.rest.orientation(other))
        across = np.array(between)
        changed = np.divide(clip.scales[:, other], theirs, out=np.ones((len(clip.times), 3)), where=theirs != 0.0)
        stretches = np.einsum("ij,fj,kj->fik", across, changed, across)
        if np.abs(stretches * (1.0 - np.eye(3))).max(initial=0.0) > SAME_FRAME:
            askew.append(own)
            result[:, column] = rest
        elif _is_identity(between) and np.array_equal(rest, theirs):
            result[:, column] = clip.scales[:, other]
        else:
            result[:, column] = rest * np.diagonal(stretches, axis1=1, axis2=2)
    if askew:
        diagnostics.add("clip-scale-askew", span, clip=clip.name, joints=_listed(askew))
    return result


def _is_identity(matrix: Matrix) -> bool:
    return all(
        abs(value - (1.0 if row == column else 0.0)) < SAME_FRAME
        for row, values in enumerate(matrix)
        for column, value in enumerate(values)
    )


def _report(rig: Rig, clip: Clip, matches: dict[str, int], diagnostics: Diagnostics, span: Span | None) -> None:
    if not matches:
        diagnostics.add("clip-fits-nothing", span, clip=clip.name, joints=_listed(list(clip.joints)))
        return
    used = set(matches.values())
    left_over = [name for position, name in enumerate(clip.joints) if position not in used]
    if left_over:
        diagnostics.add("clip-joints-unused", span, clip=clip.name, joints=_listed(left_over))
    unmoved = [name for name in joints_read(rig) if name not in matches]
    if unmoved:
        diagnostics.add("clip-leaves-joints", span, clip=clip.name, joints=_listed(unmoved))


def joints_read(rig: Rig) -> tuple[str, ...]:
    """The joints that drivers and fields read, in the order of the skeleton."""
    read = {field.joint for field in rig.fields}
    for strength in rig.strengths:
        if isinstance(strength, Driver):
            read.update(joints_of(strength.reading))
    return tuple(joint.name for joint in rig.skeleton if joint.name in read)


def _listed(names: list[str]) -> str:
    shown = ", ".join(f"`{name}`" for name in names[:SHOWN])
    return shown if len(names) <= SHOWN else f"{shown} and {len(names) - SHOWN} more"
