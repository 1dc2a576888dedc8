"""What the readings of a rig are computed from, a few frames at a time, and what computes all of one kind."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from plica.evaluate.poses import Array
from plica.kinds.readings import SeenFrom
from plica.skeleton.skeleton import Skeleton

Indexes = NDArray[np.intp]
_Key = TypeVar("_Key", bound=Hashable)


@dataclass(frozen=True, eq=False)
class Chunk:
    """A few frames of the poses, by component: what the readings of a rig need.

    turns: (4, joints, frames), since rest, w >= 0; rotations: (4, joints, frames), local;
    translations: (3, joints, frames), metres; scales: (3, joints, frames), or (3, joints, 1) where all are at rest;
    controls: (controls, frames). Each has its own list of joints.
    """

    turns: Array
    rotations: Array
    translations: Array
    scales: Array
    controls: Array


class ReadingGroup(Protocol):
    """All readings of one kind."""

    def read(self, chunk: Chunk) -> Array:
        """The readings, (readings, frames)."""


def indexes(names: Sequence[_Key], known: dict[_Key, int]) -> Indexes:
    """Where names stand in a list."""
    return np.array([known[name] for name in names], dtype=np.intp)


@dataclass(frozen=True, eq=False)
class ReadingSources:
    """The skeleton, and where joints and controls stand in a chunk, as `pose_components.NeededComponents` says.

    `rotation_rest`: the rest rotations of the local joints, (4, joints); `translation_rest`: the rest translations of
    the moved ones, (3, joints); `scale_rest`: the rest scales of the scaled ones, (3, joints); `control_rest`:
    (controls,).
    """

    skeleton: Skeleton
    turned: dict[SeenFrom, int]
    local: dict[str, int]
    moved: dict[str, int]
    scaled: dict[str, int]
    controls: dict[str, int]
    rotation_rest: Array
    translation_rest: Array
    scale_rest: Array
    control_rest: Array
