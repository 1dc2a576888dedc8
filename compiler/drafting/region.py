"""Where a bend spoils the skin: the region that a draft takes where none is stated."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from plica.drafting.bare_mesh import bare_mesh
from plica.measure.pose_crossing import PoseCrossing
from plica.measure.stretch import Stretch
from plica.mesh.arrays import Floats, Integers

# Singular values this far from 1 are no noise of skin weights.
_STRAINED: Final = 0.02
# Shares of the bend at which skin is looked at.
_SHARES: Final = (0.25, 0.5, 0.75, 1.0)


def spoiled_region(
    neutral: Floats, triangles: Integers, points: Integers, skinned: Callable[[float], Floats]
) -> Floats:
    """1 for the vertices (v,) of triangles that the bend strains or makes pass through others, 0 elsewhere.

    As for `DraftProblem`: neutral (v, 3) metres, triangles (f, 3), points (v,), skinned at a share of the bend.
    """
    mesh = bare_mesh(neutral, triangles, points)
    stretch = Stretch.on_surface(mesh, None, neutral)
    crossing = PoseCrossing.prepared(mesh, neutral, np.ones(len(neutral)))
    spoiled = np.zeros(int(points.max(initial=-1)) + 1, bool)
    for share in _SHARES:
        positions = skinned(share)
        largest, smallest, _ = stretch.each(positions)
        strained = (largest > 1.0 + _STRAINED) | (smallest < 1.0 - _STRAINED)
        for numbers in (stretch.numbers[strained], crossing.pairs(positions).ravel()):
            spoiled[points[triangles[numbers]]] = True
    return spoiled[points].astype(np.float64)
