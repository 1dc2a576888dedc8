"""Skinned meshes made up at random: vertices strung along a random rig's joints, and sparse shapes on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.poses import Poses, rest_poses, rest_scales
from plica.mesh.arrays import Floats, Mesh, Offsets
from plica.mesh.inbetweens import Inbetweens
from plica.rig.rig import Character, Rig, RigJoint
from plica.rig.surfaces import Shape
from plica.skeleton.skeleton import Skeleton
from tests.support.rigs import random_rig


def random_skin(rig: Rig, vertices: int, *, influences: int = 4, seed: int = 0) -> Mesh:
    """A mesh bound at rest: triangle strips of vertices near neighbouring joints, in the joints' order."""
    random = np.random.default_rng(seed)
    frames = skeleton_of(rig).frames
    binds = len(frames)
    origins = np.array([frame.origin for frame in frames])
    first = np.arange(vertices) * binds // vertices
    joints = (first[:, np.newaxis] + np.arange(influences)) % binds
    weights = random.random((vertices, influences)) ** 2 + 1e-3
    weights /= weights.sum(axis=1, keepdims=True)
    matrices = np.repeat(np.eye(4)[np.newaxis], binds, axis=0)
    matrices[:, :3, :3] = [frame.linear for frame in frames]
    matrices[:, :3, 3] = origins
    start = np.arange(vertices - 2)
    return Mesh(
        positions=origins[first] + random.normal(scale=0.1, size=(vertices, 3)),
        triangles=np.stack([start, start + 1 + start % 2, start + 2 - start % 2], axis=1),
        normals=None,
        uvs={},
        points=np.arange(vertices),
        joints=joints,
        weights=weights,
        bind_joints=np.arange(binds),
        inverse_binds=np.linalg.inv(matrices).astype(np.float64),
        morphs={},
        parts=(),
    )


def random_offsets(vertices: int, count: int, random: np.random.Generator, size: float = 0.01) -> Offsets:
    """Offsets of `count` neighbouring vertices."""
    start = int(random.integers(0, vertices - count + 1))
    return Offsets(np.arange(start, start + count), random.normal(scale=size, size=(count, 3)))


def shaped_rig(rig: Rig, names: list[str]) -> Rig:
    """The rig with shapes of these names that follow its strengths in turn."""
    strengths = [strength.name for strength in rig.strengths]
    shapes = tuple(
        Shape(name, "none", name, None, None, strengths[index % len(strengths)], (), 0.0)
        for index, name in enumerate(names)
    )
    return rig._replace(shapes=shapes)


def random_character(
    seed: int, vertices: int, shapes: int, moved: int, *, inbetweens: bool = True
) -> tuple[Rig, Mesh, dict[str, Inbetweens]]:
    """A rig, its mesh, and shapes that move `moved` vertices each; every third has an inbetween at 0.5."""
    random = np.random.default_rng(seed)
    names = [f"shape_{index}" for index in range(shapes)]
    rig = shaped_rig(random_rig(seed), names)
    result = {}
    for index, name in enumerate(names):
        primary = random_offsets(vertices, moved, random)
        half = random_offsets(vertices, moved, random)
        with_half = inbetweens and index % 3 == 0
        result[name] = Inbetweens(primary, (0.5,), (half,)) if with_half else Inbetweens(primary)
    return rig, random_skin(rig, vertices, seed=seed), result


def random_poses(rig: Rig, frames: int, seed: int = 0, bend: float = 0.4) -> Poses:
    """Every joint turned a little from rest, by noise of size `bend` on its quaternion, and stretched or squashed."""
    random = np.random.default_rng(seed)
    poses = rest_poses(rig, frames)
    poses.rotations[:] += random.normal(scale=bend, size=poses.rotations.shape)
    poses.controls[:] += random.uniform(-0.5, 0.5, size=poses.controls.shape)
    return replace(poses, scales=rest_scales(rig, frames) * random.uniform(0.8, 1.25, (frames, len(rig.skeleton), 3)))


def dense(offsets: Offsets, vertices: int) -> Floats:
    """Offsets as (v, 3)."""
    result = np.zeros((vertices, 3))
    result[offsets.indices] = offsets.offsets
    return result


def rig_of(skeleton: Skeleton, shapes: Sequence[str] = ()) -> Rig:
    """A rig of these joints and shapes that no strength drives."""
    joints = tuple(
        RigJoint(
            joint.name,
            None if joint.parent is None else skeleton.joints[joint.parent].name,
            joint.local,
            joint.local,
            "none",
            None,
            joint.skinned,
        )
        for joint in skeleton.joints
    )
    made = tuple(Shape(name, "none", name, None, None, None, (), 0.0) for name in shapes)
    return Rig(Character("wren", "Wren", None, 1e-4), joints, shapes=made)


def placed(mesh: Mesh) -> Mesh:
    """The mesh without its skin."""
    count = mesh.vertex_count
    return replace(
        mesh,
        joints=np.zeros((count, 0), np.int64),
        weights=np.zeros((count, 0)),
        bind_joints=np.zeros(0, np.int64),
        inverse_binds=np.zeros((0, 4, 4)),
    )
