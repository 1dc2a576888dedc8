"""Skins to draft: a tube that two joints bend."""

from __future__ import annotations

import numpy as np

from plica.drafting.problem import DraftProblem
from plica.mesh.arrays import Floats, Integers


def tube(around: int, along: int, radius: float, length: float) -> tuple[Floats, Integers]:
    """A closed tube along x about the origin, its ends fans about a point: places and triangles, outside first."""
    x = np.linspace(-0.5 * length, 0.5 * length, along)
    angle = 2.0 * np.pi * np.arange(around) / around
    ring = np.stack([np.zeros(around), radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    places = (ring[None] + x[:, None, None] * np.array([1.0, 0.0, 0.0])).reshape(-1, 3)
    places = np.concatenate([places, [[x[0], 0.0, 0.0], [x[-1], 0.0, 0.0]]])
    step = np.arange(along - 1)[:, None] * around
    here, there = step + np.arange(around), step + (np.arange(around) + 1) % around
    quads = np.stack([here, there, there + around, here + around], axis=-1).reshape(-1, 4)
    first, last = len(places) - 2, len(places) - 1
    turn = np.arange(around)
    begin = np.stack([(turn + 1) % around, turn, np.full(around, first)], axis=1)
    end_ring = (along - 1) * around
    end = np.stack([end_ring + turn, end_ring + (turn + 1) % around, np.full(around, last)], axis=1)
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]], begin, end])
    return places, np.ascontiguousarray(triangles[:, ::-1])


def bent_tube(
    angle: float, around: int = 16, along: int = 41, radius: float = 0.04, length: float = 0.5
) -> DraftProblem:
    """A tube bent about z at the origin by `angle` radians, skinned linearly by two joints over a diameter."""
    places, triangles = tube(around, along, radius, length)
    weight = np.clip(0.5 + places[:, 0] / (2.0 * radius), 0.0, 1.0)

    def skinned(share: float) -> Floats:
        turn = share * angle
        turned = places @ np.array(
            [[np.cos(turn), np.sin(turn), 0.0], [-np.sin(turn), np.cos(turn), 0.0], [0.0, 0.0, 1.0]]
        )
        return np.asarray(places + weight[:, None] * (turned - places))

    region = ((weight > 0.0) & (weight < 1.0)).astype(np.float64)
    return DraftProblem(places, triangles, np.arange(len(places)), skinned, region)
