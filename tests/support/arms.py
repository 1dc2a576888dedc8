"""Two tubes for arms, mirrored across x = 0, with a shape that keeps them from collapsing as they bend."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from plica.diagnostics import Diagnostics, Severity
from plica.evaluate.pose_components import skeleton_of
from plica.mesh.arrays import Floats, Mesh, MeshPart, Offsets
from plica.mesh.attach import Attached
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.mirror import copy_partners, mirrored
from plica.mesh.plane import MirrorPlane
from plica.mesh.regions import region_weights
from plica.mesh.side_weights import halves_of, side_weights
from plica.mesh.symmetry import symmetry_map
from plica.pipeline import compile_text
from plica.rig.rig import Rig

CHARACTER = """plica 1
character otter {
    skeleton {
        joint spine at 0 m, 0 m, 0 m
        joint upperarm_lf under spine at 10 cm, 0 m, 0 m
        joint lowerarm_lf under upperarm_lf at 40 cm, 0 m, 0 m
        joint paw_lf      under lowerarm_lf at 40 cm, 0 m, 0 m
        joint upperarm_rt under spine at -10 cm, 0 m, 0 m  turned about y 180 deg
        joint lowerarm_rt under upperarm_rt at 40 cm, 0 m, 0 m
        joint paw_rt      under lowerarm_rt at 40 cm, 0 m, 0 m
    }
    symmetry across x
    left   "*_lf"
    right  "*_rt"
}
region forearm  both { skin of lowerarm }
region upperarm both { skin of upperarm }
"""
ELBOW = "driver elbow both { reads rotation about z of lowerarm   span 0 deg .. 100 deg   curve smooth }\n"
SHAPE = "shape hold both { follows elbow }\n"
RADIUS, START, STOP, RINGS, AROUND = 0.05, 0.1, 0.9, 41, 16
ELBOW_AT, BLEND = 0.5, 0.08


@dataclass(frozen=True, eq=False)
class Arms:
    """The rig and its mesh with the shapes on it."""

    rig: Rig
    attached: Attached


def rig_from(text: str) -> Rig:
    """The rig of a spec about this character; there must be no error in it."""
    result = compile_text(CHARACTER + text)
    errors = [found.message for found in result.diagnostics if found.severity is Severity.ERROR]
    assert not errors, errors
    assert result.rig is not None
    return result.rig


def arms(text: str, strength: float = 1.0, shapes: Mapping[str, Inbetweens] | None = None) -> Arms:
    """The character with these declarations; its shape is `strength` times as strong as it should be."""
    rig = rig_from(text)
    mesh = arms_mesh(rig)
    symmetry = symmetry_map(mesh, MirrorPlane.across("x", 0.0), 1e-6)
    halves = halves_of(rig, symmetry.plane)
    assert halves is not None
    sides = side_weights(mesh, halves, symmetry.vertex_seam, tolerance=1e-6)
    regions = region_weights(rig, mesh, sides, lambda file: b"", Diagnostics())
    if shapes is None:
        left = Inbetweens(holding(mesh, strength))
        partners = copy_partners(mesh.points, symmetry.partners)
        right = Inbetweens(mirrored(left.primary, partners, symmetry.plane.normal).offsets)
        known = {shape.name for shape in rig.shapes}
        shapes = {name: made for name, made in (("left_hold", left), ("right_hold", right)) if name in known}
    return Arms(rig, Attached(mesh, "", symmetry, sides, regions, shapes, {}))


def holding(mesh: Mesh, strength: float) -> Offsets:
    """Offsets of the left elbow, square to the arm: what a bend by 100 degrees takes from the tube's girth there."""
    away = (mesh.positions[:, 0] - ELBOW_AT) / BLEND
    amount = np.where(mesh.positions[:, 0] > 0, 0.15 * np.maximum(0.0, 1.0 - away * away), 0.0) * strength
    indices = np.flatnonzero(amount)
    return Offsets(indices, (mesh.positions * (0.0, 1.0, 1.0) * amount[:, None])[indices])


def arms_mesh(rig: Rig) -> Mesh:
    """Closed tubes along x, bound at rest; the skin of upper and lower arm blends near the elbow."""
    left = _tube()
    right = left * (-1.0, 1.0, 1.0)
    faces = _faces()
    positions = np.concatenate([left, right])
    triangles = np.concatenate([faces, faces[:, ::-1] + len(left)])
    share = np.clip((np.abs(positions[:, 0]) - ELBOW_AT) / (2 * BLEND) + 0.5, 0.0, 1.0)
    share = share * share * (3.0 - 2.0 * share)
    index = skeleton_of(rig).index
    is_left = positions[:, 0] > 0
    upper = np.where(is_left, index["upperarm_lf"], index["upperarm_rt"])
    lower = np.where(is_left, index["lowerarm_lf"], index["lowerarm_rt"])
    binds = np.repeat(np.eye(4)[None], len(rig.skeleton), axis=0)
    for number, frame in enumerate(skeleton_of(rig).frames):
        binds[number, :3, :3], binds[number, :3, 3] = frame.linear, frame.origin
    return Mesh(
        positions=positions,
        triangles=triangles,
        normals=None,
        uvs={},
        points=np.arange(len(positions)),
        joints=np.stack([upper, lower], axis=1),
        weights=np.stack([1.0 - share, share], axis=1),
        bind_joints=np.arange(len(rig.skeleton)),
        inverse_binds=np.linalg.inv(binds).astype(np.float64),
        morphs={},
        parts=(MeshPart("skin", None, (0,), 0, len(positions)),),
    )


def _tube() -> Floats:
    turn = np.arange(AROUND) * 2 * np.pi / AROUND
    ring = np.stack([np.zeros(AROUND), RADIUS * np.cos(turn), RADIUS * np.sin(turn)], axis=1)
    along = np.linspace(START, STOP, RINGS)
    rings = ring[None] + np.stack([along, 0 * along, 0 * along], axis=1)[:, None]
    return np.concatenate([rings.reshape(-1, 3), [[START, 0.0, 0.0], [STOP, 0.0, 0.0]]])


def _faces() -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    number = np.arange(RINGS * AROUND).reshape(RINGS, AROUND)
    a, b = number[:-1], np.roll(number[:-1], -1, axis=1)
    c, d = number[1:], np.roll(number[1:], -1, axis=1)
    sides = [np.stack(corners, -1).reshape(-1, 3) for corners in ((a, b, d), (a, d, c))]
    first, last = number[0], number[-1]
    middle, end = RINGS * AROUND, RINGS * AROUND + 1
    caps = [
        np.stack([np.full(AROUND, middle), np.roll(first, -1), first], axis=1),
        np.stack([np.full(AROUND, end), last, np.roll(last, -1)], axis=1),
    ]
    return np.concatenate([*sides, *caps])
