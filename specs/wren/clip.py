"""The clip of Wren on his rounds: he walks, bends an elbow, closes a paw, raises brows and whisker pads,
sways his tail.

Every move is authored once, as a left joint's move over time; the right side runs the reflection of the same
functions at other times.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from plica.picture.directions import Floats, smooth_step
from plica.specs.wren import otter, steps
from plica.specs.wren.glb import ClipChannel, clip_file
from plica.specs.wren.skeleton import WrenSkeleton, wren_skeleton
from plica.specs.wren.skinning import Move, local_matrices, right_pose, turn
from plica.specs.wren.vectors import quaternion_from_matrix

SECONDS: Final = 6.0
RATE: Final = 30
STRIDE: Final = 1.5
"""Seconds for one step with each leg."""


def _pulse(time: float, start: float, rise: float, hold: float, fall: float) -> float:
    """0, then softly 1, then softly 0 again."""
    return float(smooth_step((time - start) / rise) - smooth_step((time - start - rise - hold) / fall))


def _wave(time: float, period: float, phase: float = 0.0) -> float:
    return float(np.sin(2.0 * np.pi * (time / period + phase)))


def _walk(time: float, foot: float) -> dict[str, Move]:
    """The leg and the swinging arm of one side; `foot` is the side's share of the stride, 0 or 0.5."""
    # Wren stands for a moment, walks, and stands again.
    going = _pulse(time, 0.2, 0.6, SECONDS - 1.7, 0.6)
    forward = going * _wave(time, STRIDE, foot)
    lifted = going * max(_wave(time, STRIDE, foot + 0.22), 0.0) ** 1.5
    return {
        "upperleg_lf": turn(("x", 22.0 * forward + 8.0 * lifted)),
        "lowerleg_lf": turn(("x", 6.0 * going + 46.0 * lifted)),
        "foot_lf": turn(("x", -8.0 * forward + 14.0 * lifted)),
        "toes_lf": turn(("x", 18.0 * going * max(-forward, 0.0))),
        "collar_lf": turn(("x", -4.0 * forward)),
        "upperarm_lf": turn(("x", -24.0 * forward), ("z", 3.0 * going)),
    }


def _paw_work(time: float, start: float) -> dict[str, Move]:
    """Bringing a letter up to read it: the elbow closes, the paw makes a fist, then both open again."""
    bent = _pulse(time, start, 0.8, 0.9, 0.8)
    closed = _pulse(time, start + 0.35, 0.5, 0.7, 0.6)
    moves = {
        "lowerarm_lf": turn(("x", 12.0 + 114.0 * bent + 3.0 * _wave(time, STRIDE, start))),
        "paw_lf": turn(("z", 24.0 * closed), ("x", 8.0 * bent)),
    }
    for order, digit in enumerate(reversed(otter.FINGERS)):
        late = _pulse(time, start + 0.35 + 0.05 * order, 0.5, 0.65, 0.6)
        for number, degrees in ((1, 80.0), (2, 84.0), (3, 58.0)):
            moves[f"{digit.name}_{number}_lf"] = turn(("z", degrees * late))
    return moves


def _face(time: float, start: float) -> dict[str, Move]:
    raised = _pulse(time, start, 0.35, 0.6, 0.45)
    sniff = _pulse(time, start + 0.9, 0.15, 0.1, 0.2) + _pulse(time, start + 1.5, 0.2, 0.5, 0.3)
    return {
        "browpad_lf": Move(offset=np.array([0.0, 0.004 * raised, 0.0005 * raised])),
        "whiskerpad_lf": Move(offset=np.array([0.0, 0.004 * sniff, 0.0008 * sniff])),
        "ear_lf": turn(("x", 14.0 * _pulse(time, start + 0.2, 0.12, 0.1, 0.25))),
    }


def _middle(time: float) -> dict[str, Move]:
    sway = _wave(time, STRIDE)
    moves = {
        "hips": Move(turn(("y", 5.0 * sway)).rotation, np.array([0.006 * sway, 0.004 * abs(sway), 0.0])),
        "spine_2": turn(("y", -4.0 * sway), ("z", 2.0 * sway)),
        "spine_3": turn(("y", -3.0 * sway), ("x", 3.0)),
        "neck": turn(("x", -2.0), ("y", 9.0 * _wave(time, SECONDS))),
        "head": turn(("y", 14.0 * _wave(time, SECONDS, 0.05)), ("x", 5.0 * _wave(time, 3.0, 0.3))),
        "jaw": turn(("x", 8.0 * _pulse(time, 4.2, 0.25, 0.15, 0.3))),
    }
    for number in range(1, 7):
        moves[f"tail_{number}"] = turn(("z", (4.0 + 2.0 * number) * _wave(time, 2.0 * STRIDE, -0.07 * number)))
    return moves


def pose_at(time: float, skeleton: WrenSkeleton) -> dict[str, Move]:
    """Wren's pose at a time in seconds."""
    left = {**_walk(time, 0.0), **_paw_work(time, 0.7), **_face(time, 0.4)}
    right = {**_walk(time, 0.5), **_paw_work(time, 3.0), **_face(time, 2.6)}
    return {**_middle(time), **left, **right_pose(right, skeleton)}


def _continuous(quaternions: Floats) -> Floats:
    """The same rotations with no change of sign between frames, so that a linear sampler takes the short
    way.
    """
    result = quaternions.copy()
    for frame in range(1, len(result)):
        if np.dot(result[frame - 1], result[frame]) < 0.0:
            result[frame] = -result[frame]
    return result


def rounds() -> bytes:
    """The clip as a glTF binary: six seconds at thirty frames a second."""
    skeleton = wren_skeleton()
    times = np.arange(round(SECONDS * RATE) + 1) / RATE
    poses = [pose_at(float(time), skeleton) for time in times]
    frames = np.array([local_matrices(skeleton, pose) for pose in poses])
    channels = []
    for name in skeleton.names:
        if name not in poses[0]:
            continue
        matrices = frames[:, skeleton.number[name]]
        turns = np.array([quaternion_from_matrix(matrix[:3, :3]) for matrix in matrices])
        quaternions = steps.rounded_quaternions(turns, steps.DIRECTION)
        channels.append(ClipChannel(name, "rotation", _continuous(quaternions)))
        if any(np.any(pose[name].offset) for pose in poses):
            channels.append(ClipChannel(name, "translation", steps.rounded(matrices[:, :3, 3], steps.MOTION)))
    return clip_file(skeleton, "rounds", times, channels)
