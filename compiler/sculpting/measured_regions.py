"""The regions whose volume is expected of the skin while a shape fades in, on the mesh."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from plica.drafting.problem import MeasuredRegion
from plica.mesh.arrays import Floats
from plica.mesh.draft_layer import FREE
from plica.rig.expectations import border_of
from plica.rig.expected_volumes import expected_volumes
from plica.rig.rig import Rig
from plica.rig.surfaces import Shape

# Of the skin that is drafted freely, what a region holds at least whose volume the draft is to keep.
_LEAST_SHARE: Final = 0.1


def measured_regions(rig: Rig, shape: Shape, regions: Mapping[str, Floats], free: Floats) -> tuple[MeasuredRegion, ...]:
    """Those that hold a share worth speaking of, of what is drafted freely; regions: weights (v,) by name; free (v,):
    the weights of the region that is drafted."""
    return tuple(_measured(rig, shape, regions, free))


def _measured(rig: Rig, shape: Shape, regions: Mapping[str, Floats], free: Floats) -> Iterator[MeasuredRegion]:
    drafted = free >= FREE
    least = _LEAST_SHARE * np.count_nonzero(drafted)
    for expectation in expected_volumes(rig, shape):
        weights = regions.get(expectation.of[0])
        if weights is not None and np.count_nonzero(drafted & (weights >= FREE)) >= least:
            yield MeasuredRegion(weights, border_of(expectation))
