"""From a clip's skeleton to the character's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from plica.diagnostics import Diagnostics
from plica.evaluate.aligned_rotations import SAME_FRAME, aligned_rotations, in_limbs
from plica.evaluate.clip_matching import Matches, match_joints
from plica.evaluate.clip_stance import clip_neutral, in_unit_of
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.poses import Poses
from plica.kinds.readings import joints_of, morphs_of, seen
from plica.readers.clip import Clip
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from plica.skeleton.algebra import Matrix, product, transpose
from plica.skeleton.quaternions import Array, conjugate, multiply
from plica.skeleton.skeleton import Skeleton
from plica.source import Span

SHOWN = 8  # names in a message, the others are counted


def poses_from_clip(rig: Rig, clip: Clip, diagnostics: Diagnostics, span: Span | None = None) -> Poses:
    """The rig's poses in the clip's frames; joints that the clip does not move are left in the neutral stance.

    Joints are matched by `plica.evaluate.clip_matching`. Where limbs of both bodies are matched, their stances are
    aligned (`plica.evaluate.alignment`), unless they are the same already. Else each joint carries its rotation since
    the clip's own neutral stance (`clip_neutral`) through model space: with F the neutral orientations, E = F_clip d
    F_clip^-1 is the rotation since then, and F^-1 E F what the character's joint does. Translations since the neutral
    stance are carried in metres (`in_unit_of`), for clips whose lengths are known, but not in limbs that are aligned,
    whose bones keep their lengths. Scales since rest, diagonal matrices D in the axes of the clip's joint, become K D
    K^T with K = F^-1 C^T F_clip, C the alignment; where that is not diagonal,
    no scale of the character's joint is the same, and it is reported and left at rest. Joints left over on either side
    are reported once, limbs that are left out are an error. Weights of morph targets are carried over by name.
    """
    skeleton = skeleton_of(rig)
    clip = in_unit_of(rig, clip)
    stance = clip_neutral(rig, clip, diagnostics, span)
    clip = replace(clip, rest=stance.skeleton)
    matches = match_joints(rig, skeleton, clip)
    if stance.is_assumed and matches.joints:
        diagnostics.add("clip-stance-assumed", span, clip=clip.name)
    _report(rig, clip, matches, diagnostics, span)
    joints = matches.joints
    aligned = aligned_rotations(skeleton, clip, matches)
    frames = len(clip.times)
    rotations = np.empty((frames, len(joints), 4))
    translations = np.empty((frames, len(joints), 3))
    stiff = in_limbs(skeleton, matches) if aligned.rotations else frozenset()
    for column, (own, other) in enumerate(joints.items()):
        position = skeleton.index[own]
        rotations[:, column] = (
            aligned.rotations[position] if aligned.rotations else _rotations(skeleton, position, clip, other)
        )
        translations[:, column] = skeleton.joints[position].translation
        if clip.in_metres and position not in stiff:
            translations[:, column] += _translations(skeleton, position, clip, other)
    scales = _scales(skeleton, clip, Carried(joints, aligned.turns), diagnostics, span)
    controls = tuple(control.name for control in rig.controls)
    return Poses(tuple(joints), rotations, translations, controls, _control_values(rig, clip), scales)


def _control_values(rig: Rig, clip: Clip) -> Array:
    """The controls' values, (frames, controls): the clip's weights where they hold those, else at rest."""
    values = np.tile(np.array([control.rest for control in rig.controls], dtype=np.float64), (len(clip.times), 1))
    for column, control in enumerate(rig.controls):
        if control.morph is not None and control.morph in clip.weights:
            values[:, column] = clip.weights[control.morph]
    return values


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


class Carried(NamedTuple):
    """The matched joints, and by their place in the skeleton the turns that align them, where they are aligned."""

    joints: Mapping[str, int]
    turns: Mapping[int, Array]


def _scales(
    skeleton: Skeleton, clip: Clip, carried: Carried, diagnostics: Diagnostics, span: Span | None
) -> Array | None:
    """The scales of the matched joints, (frames, joints, 3); None where the clip changes none of them."""
    if clip.scales is None:
        return None
    result = np.empty((len(clip.times), len(carried.joints), 3))
    askew = []
    for column, (own, other) in enumerate(carried.joints.items()):
        position = skeleton.index[own]
        rest, theirs = np.array(skeleton.joints[position].scale), np.array(clip.rest.joints[other].scale)
        turn = carried.turns.get(position, np.eye(3))
        across = np.array(skeleton.orientation(position)).T @ turn.T @ np.array(clip.rest.orientation(other))
        changed = np.divide(clip.scales[:, other], theirs, out=np.ones((len(clip.times), 3)), where=theirs != 0.0)
        stretches = np.einsum("ij,fj,kj->fik", across, changed, across)
        if np.abs(stretches * (1.0 - np.eye(3))).max(initial=0.0) > SAME_FRAME:
            askew.append(own)
            result[:, column] = rest
        elif np.abs(across - np.eye(3)).max() < SAME_FRAME and np.array_equal(rest, theirs):
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


def _report(rig: Rig, clip: Clip, matches: Matches, diagnostics: Diagnostics, span: Span | None) -> None:
    if not matches.joints and not any(control.morph in clip.weights for control in rig.controls):
        diagnostics.add("clip-fits-nothing", span, clip=clip.name, joints=_listed(list(clip.joints)))
        return
    if matches.by_themselves:
        pairs = ", ".join(f"`{clip.joints[other]}` = `{own}`" for own, other in matches.by_themselves.items())
        diagnostics.add("clip-matched", span, clip=clip.name, count=len(matches.by_themselves), pairs=pairs)
    if matches.left_out:
        diagnostics.add("clip-leaves-limbs", span, clip=clip.name, limbs=", ".join(matches.left_out))
    used = set(matches.joints.values())
    left_over = [name for position, name in enumerate(clip.joints) if position not in used]
    if left_over:
        diagnostics.add("clip-joints-unused", span, clip=clip.name, joints=_listed(left_over))
    unmoved = [name for name in joints_read(rig) if name not in matches.joints]
    if unmoved:
        diagnostics.add("clip-leaves-joints", span, clip=clip.name, joints=_listed(unmoved))
    readings = (strength.reading for strength in rig.strengths if isinstance(strength, Driver))
    read = sorted({morph for reading in readings for morph in morphs_of(reading)})
    _report_morphs(read, clip, diagnostics, span)


def _report_morphs(morphs: list[str], clip: Clip, diagnostics: Diagnostics, span: Span | None) -> None:
    """Tells of morph targets that drivers read and whose weights the clip does not give."""
    apart = [morph for morph in morphs if morph in clip.weights_apart]
    if apart:
        diagnostics.add("clip-morphs-differ", span, clip=clip.name, morphs=_listed(apart))
    left = [morph for morph in morphs if morph not in clip.weights and morph not in apart]
    if left:
        diagnostics.add("clip-leaves-morphs", span, clip=clip.name, morphs=_listed(left))


def joints_read(rig: Rig) -> tuple[str, ...]:
    """The joints that drivers and fields name, in the order of the skeleton."""
    read = {name for field in rig.fields for name in seen(field) if name is not None}
    for strength in rig.strengths:
        if isinstance(strength, Driver):
            read.update(joints_of(strength.reading))
    return tuple(joint.name for joint in rig.skeleton if joint.name in read)


def _listed(names: list[str]) -> str:
    shown = ", ".join(f"`{name}`" for name in names[:SHOWN])
    return shown if len(names) <= SHOWN else f"{shown} and {len(names) - SHOWN} more"
