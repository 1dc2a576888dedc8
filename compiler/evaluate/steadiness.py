"""How much strengths hang on the last bits of a pose."""

from __future__ import annotations

from typing import Final

import numpy as np

from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import Array, Poses

SHAKE: Final = 1e-14
"""By how much all numbers of a pose are shaken: a hundred roundings."""
_SHAKES = 3


def moved_by_shaking(evaluator: Evaluator, poses: Poses) -> Array:
    """By how much each strength moves at most when all numbers of a pose do by `SHAKE`, (frames, strengths)."""
    strengths = evaluator.strengths(poses)
    moved = np.zeros_like(strengths)
    for number in range(_SHAKES):
        shaken = Poses(
            poses.joints,
            poses.rotations + SHAKE * _noise(poses.rotations, number),
            poses.translations + SHAKE * _noise(poses.translations, number),
            poses.control_names,
            poses.controls + SHAKE * _noise(poses.controls, number),
            None if poses.scales is None else poses.scales + SHAKE * _noise(poses.scales, number),
        )
        moved = np.maximum(moved, np.abs(evaluator.strengths(shaken) - strengths))
    return moved


def _noise(like: Array, number: int) -> Array:
    """Numbers between -1 and 1 without pattern to speak of, the same on every machine."""
    golden = 2.399963229728653
    return np.asarray(np.sin(golden * (np.arange(like.size) + 0.37) * (number + 1)).reshape(like.shape))
