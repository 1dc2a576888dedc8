"""Skins to draft: a tube that two joints bend."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from plica.drafting.problem import DraftProblem
from plica.drafting.region import spoiled_region
from plica.evaluate.poses import rest_poses
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.deform import Deformer
from plica.rig.rig import Rig


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
    return places, triangles


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


def bent_character(rig: Rig, mesh: Mesh, joint: str, axis: str, degrees: float) -> DraftProblem:
    """A character's skin bent at one joint about one of its own axes; the region is where that spoils it."""
    deformer = Deformer(mesh, rig, {})

    def skinned(share: float) -> Floats:
        poses = rest_poses(rig)
        column = list(poses.joints).index(joint)
        turn = Rotation.from_euler(axis, share * degrees, degrees=True)
        poses.rotations[:, column] = (Rotation.from_quat(poses.rotations[:, column]) * turn).as_quat()
        (block,) = deformer.positions(poses)
        return np.asarray(block.positions[0])

    neutral = skinned(0.0)
    region = spoiled_region(neutral, mesh.triangles, mesh.points, skinned)
    return DraftProblem(neutral, mesh.triangles, mesh.points, skinned, region)
