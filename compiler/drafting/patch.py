"""The part of a skin that a draft computes, in lengths of the limb's radius.

Only what is near the region takes part: points that move, and around them some that stay as skinned, which hold the
border and which moving skin may touch.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from plica.drafting.enclosed_volume import EnclosedVolume
from plica.drafting.held_volume import HeldVolume, MovingPatch, held_volumes, measured_volumes, points_with_a_say
from plica.drafting.problem import DraftProblem, DraftSettings
from plica.measure.area_shares import areas_of
from plica.mesh.arrays import Floats, Integers
from plica.mesh.weld import edges_of, first_vertices, mean_per_point, per_point

# A point belongs to the region from this weight on.
_INSIDE = 0.5
# Skin is looked at that comes so near moving skin on the way, in widths of the border.
_SURROUNDINGS = 0.6
_LOOKED_AT = (0.0, 0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True, eq=False)
class SkinPatch:
    """vertices (n,): the first vertex of each point that takes part; points (n,): their numbers; radius: metres;
    neutral (n, 3), in radii as everything below; contact_triangles (c, 3): all that take part; triangles (t, 3): those
    with a corner that moves; moving (m,): the points that move; depth (n,): 0 in the region, rising to 1 where its
    border ends; volumes: those that are kept.
    """

    vertices: Integers
    points: Integers
    radius: float
    neutral: Floats
    contact_triangles: Integers
    triangles: Integers
    moving: Integers
    depth: Floats
    volumes: tuple[HeldVolume, ...]

    def local(self, positions: Floats) -> Floats:
        """The places (n, 3) of the patch's points in radii, from positions (v, 3) in metres."""
        return np.asarray(positions[self.vertices] / self.radius)

    def put_back(self, positions: Floats, places: Floats, points: Integers) -> Floats:
        """Positions (v, 3) in metres with the moving points at `places` (n, 3), every copy of each; points (v,)."""
        row = np.full(int(points.max(initial=-1)) + 1, -1)
        row[self.points[self.moving]] = self.moving
        rows = row[points]
        result = positions.copy()
        result[rows >= 0] = self.radius * places[rows[rows >= 0]]
        return result


def patch_of(problem: DraftProblem, settings: DraftSettings) -> SkinPatch | None:
    """The part that takes part; None where the region holds no triangle."""
    triangles = problem.points[problem.triangles]
    apart = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    triangles = triangles[apart]
    neutral = per_point(problem.points, problem.neutral)
    inside = mean_per_point(problem.points, problem.region) >= _INSIDE
    held = inside[triangles].any(axis=1)
    if not held.any():
        return None
    radius = _radius(neutral, triangles[held])
    border = radius if settings.border is None else settings.border
    distance = _distances(neutral, triangles, np.flatnonzero(inside), border)
    moves = distance < border
    with_moving = moves[triangles].any(axis=1)
    measured = measured_volumes(problem)
    takes_part = _near_on_the_way(problem, moves, _SURROUNDINGS * border) | points_with_a_say(measured, problem, moves)
    near = takes_part[triangles].any(axis=1) | with_moving
    used, corners = np.unique(triangles[near], return_inverse=True)
    corners = corners.reshape(-1, 3)
    own = corners[with_moving[near]]
    depth = np.minimum(distance[used] / border, 1.0)
    vertices = first_vertices(problem.points)[used]
    return SkinPatch(
        vertices=vertices,
        points=used,
        radius=radius,
        neutral=neutral[used] / radius,
        contact_triangles=corners,
        triangles=own,
        moving=np.flatnonzero(moves[used]),
        depth=depth,
        volumes=held_volumes(problem, measured, MovingPatch(vertices, used, moves, radius), own),
    )


def _near_on_the_way(problem: DraftProblem, moves: NDArray[np.bool_], reach: float) -> NDArray[np.bool_]:
    """The points (p,) that come within reach, metres, of a moving one anywhere on the way."""
    result = moves.copy()
    for share in _LOOKED_AT:
        places = per_point(problem.points, problem.skinned(share))
        distance, _ = cKDTree(places[moves]).query(places, distance_upper_bound=reach)
        result |= np.isfinite(distance)
    return result


def _radius(neutral: Floats, triangles: Integers) -> float:
    """The radius of a tube with this volume and area, which is twice their quotient, metres."""
    area = float(areas_of(neutral[triangles]).sum())
    used, corners = np.unique(triangles, return_inverse=True)
    corners = corners.reshape(-1, 3)
    volume, _ = EnclosedVolume.of(corners, len(used)).of_positions(neutral[used])
    extent = 0.5 * float(np.ptp(neutral[used], axis=0).max())
    radius = 2.0 * abs(volume) / area if area > 0.0 else 0.0
    # A patch that encloses next to nothing, such as a flat one, has its extent for a radius.
    return radius if radius > 0.05 * extent else extent


def _distances(neutral: Floats, triangles: Integers, sources: Integers, limit: float) -> Floats:
    """The distance (p,) along edges to the nearest source, infinite beyond the limit."""
    edges = edges_of(triangles)
    lengths = np.linalg.norm(neutral[edges[:, 0]] - neutral[edges[:, 1]], axis=1)
    lengths = np.maximum(lengths, 1e-12 * lengths.max(initial=1.0))
    graph = sparse.csr_array((lengths, (edges[:, 0], edges[:, 1])), shape=(len(neutral), len(neutral)))
    return np.asarray(dijkstra(graph, directed=False, indices=sources, min_only=True, limit=limit))
