"""Motions as SkelAnimation prims."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from pxr import UsdSkel, Vt

from plica.mesh.arrays import Floats
from plica.targets.usd.motion import SampledClip
from plica.targets.usd.skeleton import JointTree, free_name

CODES_A_SECOND: Final = 60.0
"""Time codes in a second; samples stand wherever their seconds fall."""


def write_motions(
    stage: Any, root: str, tree: JointTree, shapes: Sequence[str], found: Sequence[SampledClip]
) -> dict[str, str]:
    """Adds the motions under `root`; the prim of each by its name. A motion of one sample has no time."""
    taken: set[str] = set()
    result = {}
    for motion in found:
        path = f"{root}/{free_name(motion.name, taken)}"
        animation = UsdSkel.Animation.Define(stage, path)
        animation.GetPrim().SetDisplayName(motion.name)
        animation.CreateJointsAttr(list(tree.paths))
        held: list[tuple[Any, Any, Floats]] = [
            (animation.CreateRotationsAttr(), _rotations, motion.rotations),
            (animation.CreateTranslationsAttr(), _vectors, motion.translations),
            (animation.CreateScalesAttr(), _scales, motion.scales),
        ]
        if shapes:
            animation.CreateBlendShapesAttr(list(shapes))
            nothing = np.zeros(len(motion.times))
            weights = np.stack([motion.strengths.get(name, nothing) for name in shapes], axis=1)
            held.append((animation.CreateBlendShapeWeightsAttr(), _weights, weights))
        for attribute, written, values in held:
            set_samples(attribute, motion.times, [written(one) for one in values])
        result[motion.name] = path
    return result


def set_samples(attribute: Any, times: Floats, values: Sequence[Any]) -> None:
    """The values of an attribute at times in seconds, or the one value that it has."""
    if len(values) == 1:
        attribute.Set(values[0])
        return
    for time, value in zip(times.tolist(), values, strict=True):
        attribute.Set(value, time * CODES_A_SECOND)


def _rotations(values: Floats) -> Any:
    # OpenUSD takes the scalar first from arrays of numbers, and stores it last; single precision either way.
    return Vt.QuatfArray.FromNumpy(values.astype(np.float32))


def _vectors(values: Floats) -> Any:
    return Vt.Vec3fArray.FromNumpy(values.astype(np.float32))


def _scales(values: Floats) -> Any:
    return Vt.Vec3hArray.FromNumpy(values.astype(np.float16))


def _weights(values: Floats) -> Any:
    return Vt.FloatArray.FromNumpy(values.astype(np.float32))
