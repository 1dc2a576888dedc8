"""Animations of an OpenUSD stage as clips: a SkelAnimation of each Skeleton that one is bound to (UsdSkel)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from plica.readers.clip import Clip, with_weights
from plica.readers.model_outline import UnreadableModel
from plica.readers.usd_model import skeleton_of_prim
from plica.readers.usd_reader import read_stage
from plica.readers.usd_stage import UsdMotion, UsdSkeleton
from plica.skeleton.quaternions import quaternions_of

Array = NDArray[np.float64]
_SAME_SCALE = 1e-6  # from rest: what single precision leaves of a scale that nobody changes


def read_usd_clips(path: Path) -> tuple[Clip, ...]:
    """The clips of a stage, each at its own time samples and, where it moves between samples that are far apart, in
    between (`between_keys`). What is between those is not to be had later.

    Joints are those of the skeleton, moved or not. Raises UnreadableModel.
    """
    stage = read_stage(path, motion=True)
    skeletons = {skeleton.path: skeleton for skeleton in stage.skeletons}
    return tuple(_clip(motion, skeletons[motion.skeleton].usable(), stage.unit) for motion in stage.motions)


def _clip(motion: UsdMotion, prim: UsdSkeleton, unit: float) -> Clip:
    if motion.fault:
        raise UnreadableModel(motion.fault)
    seconds = np.frombuffer(motion.seconds.usable().data, dtype=np.float64)
    numbers = np.frombuffer(motion.transforms.usable().data, dtype=np.float64)
    joints = len(prim.joints)
    if numbers.size != len(seconds) * joints * 16 or np.any(np.diff(seconds) <= 0.0):
        raise UnreadableModel(f"the animation `{motion.name}` does not fit the joints of {prim.path}")
    matrices = numbers.reshape(len(seconds), joints, 4, 4)
    if not np.all(np.abs(matrices) < 1e12) or not np.all(np.isfinite(seconds)):
        raise UnreadableModel(f"the animation `{motion.name}` holds what is no usable number")
    rest = skeleton_of_prim(prim)
    rotations, scales = _taken_apart(np.swapaxes(matrices[..., :3, :3], -1, -2))
    unscaled = (
        np.abs(scales - np.array([joint.scale for joint in rest.joints]).reshape(-1, 3)).max(initial=0.0) < _SAME_SCALE
    )
    clip = Clip(
        motion.name,
        seconds,
        rotations,
        matrices[..., 3, :3],
        rest,
        in_metres=True,
        scales=None if unscaled else scales,
        unit=unit,
    )
    return with_weights(clip, [(motion.shapes, _weights(motion, len(seconds)))], ()) if motion.shapes else clip


def _weights(motion: UsdMotion, frames: int) -> Array:
    """The weights of the blend shapes, (frames, shapes)."""
    weights = np.frombuffer(motion.weights.usable().data, dtype=np.float32).astype(np.float64)
    if weights.size != frames * len(motion.shapes) or not np.isfinite(weights).all():
        raise UnreadableModel(f"the blend shape weights of `{motion.name}` are not one number for each shape and frame")
    return weights.reshape(frames, len(motion.shapes))


def _taken_apart(linear: Array) -> tuple[Array, Array]:
    """Rotations (..., 4) and scales (..., 3) of matrices (..., 3, 3), as `plica.readers.decompose` does it for one."""
    sizes = np.linalg.norm(linear, axis=-2)
    sizes[..., 0] *= np.where(np.linalg.det(linear) < 0.0, -1.0, 1.0)
    axes = linear / np.where(sizes == 0.0, 1.0, sizes)[..., np.newaxis, :]
    x = axes[..., 0]
    y = axes[..., 1] - x * np.sum(x * axes[..., 1], axis=-1, keepdims=True)
    y /= np.maximum(np.linalg.norm(y, axis=-1, keepdims=True), 1e-30)
    return quaternions_of(np.stack((x, y, np.cross(x, y)), axis=-1)), sizes
