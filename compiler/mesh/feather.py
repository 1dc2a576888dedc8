"""Softening the edge of a weight over a stated width of skin."""

from __future__ import annotations

from typing import Final

import numpy as np

from plica.mesh.arrays import Floats, Integers
from plica.mesh.surface import distance_to_level

EDGE: Final = 0.5


def has_edge(weights: Floats) -> bool:
    """Whether a weight lies on both sides of `EDGE` somewhere, so that there is an edge to soften."""
    above = weights >= EDGE
    return bool(above.any() and not above.all())


def ramp(distance: Floats, width: float) -> Floats:
    """0.5 + 1.5 u - 2 u^3 with u = distance / width, limited to -0.5..0.5: from 0 to 1 over `width`, 0.5 at
    distance 0.

    The cubic with level ends ("smoothstep", Hermite's polynomial); ramp(-d) = 1 - ramp(d) to the last bit or
    one. With width 0 it is a step, 0.5 exactly at 0.
    """
    if width == 0.0:
        return np.asarray(0.5 + 0.5 * np.sign(distance))
    share = np.clip(distance / width, -0.5, 0.5)
    return np.asarray(0.5 + share * (1.5 - 2.0 * share * share))


def feathered(weights: Floats, width: float, positions: Floats, triangles: Integers) -> Floats:
    """Weights (p,) whose edge is at least `width` metres wide, measured along the surface.

    The edge is the line where the weight, linear inside each triangle, is 0.5; for a set of vertices that is
    halfway along the edges that leave it. With d the distance from it, positive inside, the result is
    whichever of the weight and ramp(d / width) is nearer to 0.5. So a hard edge becomes a smooth ramp, half
    inside and half outside; skin weights that are softer already stay as they are; and nothing changes
    further than half the width from the edge. Feathering 1 - w gives 1 less what feathering w gives. Copies
    of a point must be one point here.
    """
    if width == 0.0 or not has_edge(weights):
        return weights
    distance = distance_to_level(positions, triangles, weights, EDGE, limit=width / 2.0)
    soft = ramp(np.where(weights >= EDGE, distance, -distance), width)
    return np.where(weights >= EDGE, np.minimum(weights, soft), np.maximum(weights, soft))
