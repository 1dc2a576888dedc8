"""Strengths over time and on both sides: nothing pops, left and right agree."""

from __future__ import annotations

import numpy as np

from plica.mesh.arrays import Floats, Integers


def jumps(strengths: Floats) -> tuple[Floats, Integers]:
    """The largest change of any strength from each sample to the next, (samples - 1,), and which strength it was.

    strengths (samples, n) of neighbouring samples; without strengths the jumps are 0, of strength -1.
    """
    steps = np.abs(np.diff(strengths, axis=0))
    if not steps.shape[1]:
        return np.zeros(len(steps)), np.full(len(steps), -1)
    which = steps.argmax(axis=1)
    return np.take_along_axis(steps, which[:, None], 1)[:, 0], which


def unevenness(strengths: Floats, mirrored: Floats, partners: Integers) -> tuple[Floats, Integers]:
    """How far each strength is from its partner's in the mirrored pose, largest of each pose, and which it was.

    strengths and mirrored (poses, n): in poses and in the same poses mirrored; partners (n,): the strength of the other
    side, itself for one of neither side.
    """
    differences = np.abs(strengths - mirrored[:, partners])
    if not differences.shape[1]:
        return np.zeros(len(differences)), np.full(len(differences), -1)
    which = differences.argmax(axis=1)
    return np.take_along_axis(differences, which[:, None], 1)[:, 0], which
