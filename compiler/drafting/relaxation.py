"""The skin settling: steps down the energy until nothing moves any more."""

from __future__ import annotations

from typing import Final

import numpy as np

from plica.drafting.elastic_skin import ElasticSkin, Goal
from plica.drafting.equations import Equations
from plica.mesh.arrays import Floats

# A step is long enough where it brings this share of the decrease that its slope promises (Armijo 1966).
_SUFFICIENT: Final = 1e-4
_HALVINGS: Final = 12
# Radii: no point moves further in one step.
_LONGEST: Final = 0.5


def settled(
    skin: ElasticSkin, equations: Equations, places: Floats, goal: Goal, steps: int, tolerance: float
) -> Floats:
    """The places (n, 3) after at most `steps` steps, or when none moves a point by more than `tolerance` radii."""
    moving = skin.patch.moving
    now = skin.evaluated(places, goal)
    for _ in range(steps):
        direction = -equations.solved(now.gradient[moving], 2.0 * skin.volume_weight, now.volume_gradient[moving])
        longest = float(np.abs(direction).max())
        if longest <= tolerance:
            break
        slope = float((now.gradient[moving] * direction).sum())
        share = min(1.0, _LONGEST / longest)
        for _ in range(_HALVINGS):
            tried = places.copy()
            tried[moving] += share * direction
            then = skin.evaluated(tried, goal)
            if then.value <= now.value + _SUFFICIENT * share * slope:
                break
            share *= 0.5
        else:
            break
        places, now = tried, then
    return places
