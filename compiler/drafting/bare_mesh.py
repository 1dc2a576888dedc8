"""A surface as a mesh, for measures that look at places and triangles alone."""

from __future__ import annotations

import numpy as np

from plica.mesh.arrays import Floats, Integers, Mesh


def bare_mesh(positions: Floats, triangles: Integers, points: Integers | None = None) -> Mesh:
    """positions (v, 3), triangles (t, 3), points (v,) as in `Mesh`; every vertex its own point for None."""
    count = len(positions)
    weights, none = np.zeros((count, 0)), np.zeros(0, np.int64)
    own = np.arange(count) if points is None else points
    return Mesh(
        positions, triangles, None, {}, own, weights.astype(np.int64), weights, none, np.zeros((0, 4, 4)), {}, ()
    )
