"""Which figure a share of an area keeps to: percentiles over triangles, each counted by its area."""

from __future__ import annotations

import numpy as np

from plica.mesh.arrays import Floats, Integers

ROUNDING = 1e-12


def areas_of(corners: Floats) -> Floats:
    """The areas (t,) of triangles (t, 3, 3): half the length of the cross product of two edges."""
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return np.asarray(0.5 * np.linalg.norm(normals, axis=1))


def kept_to(values: Floats, areas: Floats, share: float) -> tuple[Floats, Integers]:
    """For each frame the least figure that triangles of at least this share of the area do not exceed, and the triangle
    that has it: (frames,) each, of values (t, frames) and areas (t,). Not a number, at -1, in a frame in which a value
    is none, and where there is no area.
    """
    frames = values.shape[1]
    known = np.isfinite(values).all(axis=0) & bool(areas.sum() > 0.0)
    result, rows = np.full(frames, np.nan), np.full(frames, -1)
    if not known.any():
        return result, rows
    order = np.argsort(values[:, known], axis=0, kind="stable")
    summed = np.cumsum(areas[order], axis=0)
    # Sums in another order than the whole differ from it by rounding.
    reached = summed >= share * summed[-1] * (1.0 - ROUNDING)
    rows[known] = order[reached.argmax(axis=0), np.arange(order.shape[1])]
    result[known] = values[rows[known], np.flatnonzero(known)]
    return result, rows
