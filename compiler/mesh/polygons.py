"""Meshes of polygons turned into triangles, and their points split where values differ from face to face."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from plica.mesh.arrays import Floats, Integers
from plica.mesh.weld import labels_of_rows
from plica.readers.model_outline import UnreadableModel


@dataclass(frozen=True, eq=False)
class Corners:
    """points (c,): the point at each corner, face after face; faces (c,): the face of each corner.

    triangles (t, 3): indexes of corners, each polygon cut into a fan around its first. `count`: how many points.
    """

    points: Integers
    faces: Integers
    triangles: Integers
    count: int


@dataclass(frozen=True, eq=False)
class Split:
    """points (v,): the point that each vertex is a copy of, rising; triangles (t, 3) between vertices."""

    points: Integers
    triangles: Integers
    uvs: Mapping[str, Floats]
    normals: Floats | None


def corners_of(counts: Integers, points: Integers, count: int, name: str) -> Corners:
    """The corners of polygons with so many corners each. Raises UnreadableModel."""
    if np.any(counts < 0) or counts.sum() != len(points):
        raise UnreadableModel(f"the faces of `{name}` do not add up: {counts.sum()} corners, {len(points)} indices")
    if len(points) and not 0 <= points.min() <= points.max() < count:
        raise UnreadableModel(f"the faces of `{name}` refer to points that are not there")
    starts = np.cumsum(counts) - counts
    fans = np.maximum(counts - 2, 0)
    first = np.repeat(starts, fans)
    step = np.arange(fans.sum()) - np.repeat(np.cumsum(fans) - fans, fans)
    triangles = np.stack([first, first + step + 1, first + step + 2], axis=1)
    return Corners(points, np.repeat(np.arange(len(counts)), counts), triangles, count)


def per_corner(values: Floats, interpolation: str, corners: Corners, what: str) -> Floats:
    """Values of a primvar for each corner (c, n), by its interpolation (UsdGeomPrimvar). Raises UnreadableModel."""
    if interpolation in ("vertex", "varying"):
        wanted, rows = corners.count, corners.points
    elif interpolation == "faceVarying":
        wanted, rows = len(corners.points), np.arange(len(corners.points))
    elif interpolation == "uniform":
        wanted, rows = int(corners.faces.max(initial=-1)) + 1, corners.faces
    else:
        wanted, rows = 1, np.zeros(len(corners.points), np.int64)
    if len(values) < wanted:
        raise UnreadableModel(f"{what}: {len(values)} values where {wanted} are needed")
    return np.asarray(values[rows])


def split_at_seams(corners: Corners, uvs: Mapping[str, Floats], normals: Floats | None) -> Split:
    """Vertices for points: one for each different set of values (c, n) at its corners, in the order of the points.

    A point without a face becomes one vertex, its uvs not a number and its normal 0.
    """
    parts = [corners.points[:, None].astype(np.float64), *uvs.values(), *([] if normals is None else [normals])]
    kinds = labels_of_rows(np.hstack(parts) + 0.0)
    _, first, vertex = np.unique(kinds, return_index=True, return_inverse=True)
    order = np.lexsort((first, corners.points[first]))
    lonely = np.setdiff1d(np.arange(corners.count), corners.points)
    points = np.concatenate([corners.points[first[order]], lonely])
    final = np.argsort(points, kind="stable")
    place = np.empty(len(points), np.int64)
    place[final] = np.arange(len(points))
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    return Split(
        points[final],
        place[rank[vertex]][corners.triangles],
        {name: _placed(values, first[order], len(lonely), np.nan)[final] for name, values in uvs.items()},
        None if normals is None else _placed(normals, first[order], len(lonely), 0.0)[final],
    )


def _placed(values: Floats, rows: Integers, more: int, missing: float) -> Floats:
    return np.concatenate([values[rows], np.full((more, values.shape[1]), missing)])
