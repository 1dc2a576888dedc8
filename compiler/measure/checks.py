"""Whether arrays that were read from a cache are what the code that uses them takes for granted."""

from __future__ import annotations

import numpy as np

from plica.mesh.arrays import Integers


def are_indexes(values: Integers, below: int, shape: tuple[int, ...] | None = None) -> bool:
    """Whether all are from 0 on and below a number; shape: what they have to have, one dimension if not given."""
    if values.ndim != 1 if shape is None else values.shape != shape:
        return False
    return not values.size or bool(values.min() >= 0 and values.max() < below)


def are_rising(values: Integers) -> bool:
    """Whether each is greater than the one before."""
    return bool((np.diff(values) > 0).all())


def are_starts(values: Integers, groups: int, total: int) -> bool:
    """Whether values (groups + 1,) cut `total` things into groups."""
    ends = values.shape == (groups + 1,) and values[0] == 0 and values[-1] == total
    return bool(ends and (np.diff(values) >= 0).all())
