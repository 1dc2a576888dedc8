"""A clip of motion, whatever file it came from."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.skeleton.skeleton import Skeleton, resized

SAMPLE_BYTES: Final = 7 * 8
"""What one joint in one frame takes: a rotation and a translation."""
SCALE_BYTES: Final = 3 * 8
"""What its scale takes on top, in a clip that has scales."""
WEIGHT_BYTES: Final = 8
"""What the weight of one morph target in one frame takes."""
SAME_WEIGHT: Final = 1e-6
"""What weights that are meant to be the same may differ by: some roundings of single precision."""


@dataclass(frozen=True, eq=False)
class Clip:
    """Sampled motion of a skeleton of the clip's own.

    `times` (frames,) seconds, rising. `rotations` (frames, joints, 4) unit quaternions, `translations` and `scales`
    (frames, joints, 3), all local to the parent as in glTF 2.0, in the order of `rest.joints`; `scales` is None where
    nothing changes them.
    `bind`: the same joints as their skin was bound, where the file states that and it is another pose than its rest.
    `is_rest_bound`: whether the file states that its skin was bound as it rests. `is_stance_stated`: whether `rest` is
    the stance because somebody said so.
    `in_metres`: whether the file's format states its lengths to be metres (glTF does, BVH states no unit). `unit`: how
    many metres one length of the file was taken for.
    `between`: the same motion at other times, where the format says what happens between two keys (glTF does; BVH lists
    frames and says nothing of what is between them).
    `weights`: by name (frames,) those of the morph targets that the clip moves, in whichever meshes; `weights_apart`:
    the names of targets that it moves differently in several meshes, so that there is no one weight.
    """

    name: str
    times: NDArray[np.float64]
    rotations: NDArray[np.float64]
    translations: NDArray[np.float64]
    rest: Skeleton
    in_metres: bool
    between: Callable[[NDArray[np.float64]], Clip] | None = None
    scales: NDArray[np.float64] | None = None
    bind: Skeleton | None = None
    unit: float = 1.0
    weights: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)
    weights_apart: tuple[str, ...] = ()
    is_rest_bound: bool = False
    is_stance_stated: bool = False

    @property
    def joints(self) -> tuple[str, ...]:
        """The names of the clip's joints."""
        return tuple(joint.name for joint in self.rest.joints)


def clip_in_unit(clip: Clip, unit: float) -> Clip:
    """The clip where one length of its file is `unit` metres, whatever it was taken for."""
    factor, between = unit / clip.unit, clip.between
    if factor == 1.0:
        return clip
    return replace(
        clip,
        translations=clip.translations * factor,
        rest=resized(clip.rest, factor),
        bind=None if clip.bind is None else resized(clip.bind, factor),
        between=None if between is None else lambda times: clip_in_unit(between(times), unit),
        unit=unit,
    )


MeshWeights = tuple[Sequence[str], NDArray[np.float64]]
"""The names of the morph targets of one mesh that a clip moves, and their weights (frames, n)."""


def moved_apart(moved: Iterable[MeshWeights]) -> tuple[str, ...]:
    """The names of targets whose weights differ from mesh to mesh."""
    first: dict[str, NDArray[np.float64]] = {}
    apart: dict[str, None] = {}
    for names, values in moved:
        for name, column in zip(names, values.T, strict=True):
            if np.abs(first.setdefault(name, column) - column).max(initial=0.0) > SAME_WEIGHT:
                apart[name] = None
    return tuple(apart)


def with_weights(clip: Clip, moved: Iterable[MeshWeights], apart: tuple[str, ...]) -> Clip:
    """The clip with weights of the meshes that it moves morph targets of, but those that it moves `apart`."""
    weights: dict[str, NDArray[np.float64]] = {}
    for names, values in moved:
        for name, column in zip(names, values.T, strict=True):
            if name not in apart:
                weights.setdefault(name, column)
    return replace(clip, weights=weights, weights_apart=apart)
