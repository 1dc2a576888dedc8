"""A patch with far fewer points, on which the bend is followed first, and the way back to all of them.

Points are chosen so that no two are nearer than a spacing along the surface (Cook, "Stochastic Sampling in Computer
Graphics", 1986, of such sets); each other point belongs to the nearest, and where three such cells meet is a triangle
of the coarse patch, as in a Delaunay triangulation. The fine points follow the coarse ones around them as in Sumner,
Schmid and Pauly, "Embedded Deformation for Shape Manipulation" (2007): each turns and moves its surroundings with it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import dijkstra

from plica.drafting.elastic_skin import Goal
from plica.drafting.held_volume import MovingPatch, held_volumes
from plica.drafting.patch import SkinPatch
from plica.drafting.problem import DraftProblem
from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseFloats
from plica.mesh.weld import edges_of

# Radii along the surface: the first that leaves few enough points. The finer, the better the fine points fit where skin
# folds; found by trial, no source.
_SPACINGS: Final = (0.15, 0.2, 0.25)
# A coarse patch has at most this share of the points, or it is not worth its trouble.
_WORTHWHILE: Final = 0.5
# Spacings from which on a coarse point takes nothing with it.
_REACH: Final = 2.0


@dataclass(frozen=True, eq=False)
class CoarsePatch:
    """spacing: radii between neighbours, at least; patch: of c of the points; neutral (n, 3): where all of them are;
    weights (n, c): rows that add up to 1, how much each point follows each coarse one."""

    spacing: float
    patch: SkinPatch
    neutral: Floats
    weights: SparseFloats

    @classmethod
    def of(cls, fine: SkinPatch, problem: DraftProblem) -> CoarsePatch | None:
        """None where it would not have far fewer points. It keeps its own volume and that of its parts, which are near
        enough to those that the fine one keeps."""
        graph = _graph(fine)
        most = int(_WORTHWHILE * len(fine.neutral))
        spread = ((spacing, _spread(graph, spacing, most)) for spacing in _SPACINGS)
        spacing, rows = next(((spacing, rows) for spacing, rows in spread if rows is not None), (0.0, None))
        if rows is None:
            return None
        _, _, nearest = dijkstra(graph, True, rows, True, min_only=True)
        number = np.full(len(fine.neutral), -1)
        number[rows] = np.arange(len(rows))
        cells = number[nearest]
        triangles = _meeting_cells(cells[fine.contact_triangles])
        moves = np.zeros(len(fine.neutral), bool)
        moves[fine.moving] = True
        own = triangles[moves[rows][triangles].any(axis=1)]
        if not len(own):
            return None
        vertices, points = fine.vertices[rows], fine.points[rows]
        of_all = np.zeros(int(problem.points.max()) + 1, bool)
        of_all[points[moves[rows]]] = True
        patch = SkinPatch(
            vertices=vertices,
            points=points,
            radius=fine.radius,
            neutral=fine.neutral[rows],
            contact_triangles=triangles,
            triangles=own,
            moving=np.flatnonzero(moves[rows]),
            depth=fine.depth[rows],
            volumes=held_volumes(problem, (), MovingPatch(vertices, points, of_all, fine.radius), own),
        )
        return cls(spacing, patch, fine.neutral, _weights(fine.neutral, rows, cells, triangles, _REACH * spacing))

    def refined(self, places: Floats, rotations: Floats, goal: Goal, moving: Integers) -> Floats:
        """All points (n, 3): those that move follow the coarse ones, whose places (c, 3) and rotations (c, 3, 3) are
        given; the others are at their goal."""
        carried = places - np.einsum("cij,cj->ci", rotations, self.patch.neutral)
        turns = np.asarray(self.weights @ rotations.reshape(-1, 9)).reshape(-1, 3, 3)
        followed = np.asarray(self.weights @ carried) + np.einsum("nij,nj->ni", turns, self.neutral)
        result = goal.places.copy()
        result[moving] = followed[moving]
        return result


def _graph(patch: SkinPatch) -> SparseFloats:
    """The lengths of edges, both ways."""
    edges = edges_of(patch.contact_triangles)
    lengths = np.linalg.norm(patch.neutral[edges[:, 0]] - patch.neutral[edges[:, 1]], axis=1)
    lengths = np.maximum(lengths, 1e-12)
    both = np.concatenate([edges, edges[:, ::-1]])
    return sparse.csr_array((np.tile(lengths, 2), (both[:, 0], both[:, 1])), shape=(len(patch.neutral),) * 2)


def _spread(graph: SparseFloats, spacing: float, most: int) -> Integers | None:
    """Points no two of which are nearer than the spacing, as many as there is room for, in the order of their
    numbers; None where they are more than so many."""
    covered = np.zeros(graph.shape[0], bool)
    chosen = []
    for point in range(graph.shape[0]):
        if not covered[point]:
            chosen.append(point)
            if len(chosen) > most:
                return None
            covered |= np.isfinite(dijkstra(graph, indices=np.array([point]), limit=spacing)[0])
    return np.array(chosen, np.int64)


def _meeting_cells(cells: Integers) -> Integers:
    """The triangles of coarse points (t, 3) whose cells meet in a triangle, one for each three; cells (f, 3) of
    triangles' corners."""
    apart = (cells != np.roll(cells, 1, axis=1)).all(axis=1)
    meeting = cells[apart]
    _, first = np.unique(np.sort(meeting, axis=1), axis=0, return_index=True)
    return np.asarray(meeting[np.sort(first)])


def _weights(neutral: Floats, rows: Integers, cells: Integers, triangles: Integers, reach: float) -> SparseFloats:
    """Of coarse points at most two coarse edges from the cell, falling to nothing at reach."""
    count = len(rows)
    edges = edges_of(triangles)
    links = sparse.csr_array((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(count, count))
    links = sparse.csr_array(links + links.T + sparse.eye_array(count))
    near = sparse.coo_array(sparse.csr_array(links @ links)[cells])
    distance = np.linalg.norm(neutral[near.row] - neutral[rows[near.col]], axis=1) / reach
    values = np.maximum(1.0 - distance**2, 0.0) ** 2
    result = sparse.csr_array((values, (near.row, near.col)), shape=(len(neutral), count))
    return sparse.csr_array(sparse.diags_array(1.0 / result.sum(axis=1)) @ result)
