"""Partners of a mesh's vertices across its mirror plane, and what has none.

Everything is found between welded points, so that the copies that importers make at uv and normal seams do not get
in the way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.matching import Cloud, Flags, match
from plica.mesh.pieces import moved_pieces
from plica.mesh.plane import ALONG_AXES, SEARCHED, MirrorPlane, find_offsets_between, find_plane
from plica.mesh.vertex_places import VertexPlace, place_of
from plica.mesh.weld import first_vertices, point_triangles
from plica.rounding import rounded, rounded_number
from plica.skeleton.algebra import Vector
from plica.skeleton.planes import FEWEST, axis_of
from plica.skeleton.sides import AxisName

# Partners that only connectivity tells may be further apart than the tolerance, by up to this share of the size.
REACH = 0.02
_ROUNDS = 4
_SETTLED = 1e-9  # how little a plane moves that has settled, of its unit normal and in metres


@dataclass(frozen=True, eq=False)
class SymmetryMap:
    """Which point mirrors which.

    partners (p,): each welded point's partner, -1 for none; an involution: partners[partners[i]] == i.
    distances (p,): metres from the mirrored point to its partner, nan for none. seam (p,): points that are their own
    partner. by_edges (p,): points whose partner connectivity told, or the whole
    piece of the mesh that they belong to. `vertex_partners` (v,): for each vertex the first
    vertex of its point's partner, -1 for none. `uneven_edges`: edges between paired points that mirror to no edge.
    """

    plane: MirrorPlane
    points: Integers
    partners: Integers
    distances: Floats
    by_edges: Flags
    uneven_edges: int
    tolerance: float

    @property
    def seam(self) -> Flags:
        """Whether each point (p,) is its own partner."""
        return np.asarray(self.partners == np.arange(len(self.partners)))

    @property
    def vertex_partners(self) -> Integers:
        """For each vertex (v,) the first vertex of its point's partner, -1 for none."""
        result = np.where(self.partners < 0, -1, first_vertices(self.points)[self.partners])
        return np.asarray(result[self.points])

    @property
    def vertex_seam(self) -> Flags:
        """Whether each vertex (v,) lies on the seam."""
        return np.asarray(self.seam[self.points])

    @property
    def unmatched(self) -> Integers:
        """The vertices without a partner."""
        return np.flatnonzero((self.partners < 0)[self.points])

    @property
    def share(self) -> float:
        """The share of the vertices that have a partner, 0 to 1."""
        return 1.0 - len(self.unmatched) / max(len(self.points), 1)


@dataclass(frozen=True)
class SymmetryReport:
    """What to tell about a map. `unmatched`, `uneven`: vertices without a partner, and with one beyond the tolerance.

    For each joint that carries some of them, the most first; `count` is of vertices and `worst` metres: from the
    mirrored vertex to the nearest vertex for the unmatched, to its partner for the uneven.
    """

    vertices: int
    unmatched: tuple[VertexPlace, ...]
    uneven: tuple[VertexPlace, ...]

    @property
    def unmatched_count(self) -> int:
        """How many vertices have no partner."""
        return sum(place.count for place in self.unmatched)

    @property
    def uneven_count(self) -> int:
        """How many vertices have a partner beyond the tolerance."""
        return sum(place.count for place in self.uneven)

    @property
    def worst(self) -> VertexPlace | None:
        """The place that is furthest off."""
        return max((*self.unmatched, *self.uneven), key=lambda place: place.worst, default=None)


@dataclass(frozen=True, eq=False)
class PairMap:
    """Which point of a second mesh mirrors which of a first.

    The first is mirrored across the plane through the origin along `axis`, then moved by `offset` (3,) metres.
    partners (p,) of the first's points in the second's, -1 for none; distances (p,); back (q,): the other way round.
    """

    axis: AxisName
    offset: tuple[float, float, float]
    partners: Integers
    distances: Floats
    back: Integers
    uneven_edges: int

    @property
    def share(self) -> float:
        """The share of the first's points that have a partner."""
        return float(np.mean(self.partners >= 0)) if len(self.partners) else 0.0


def symmetry_map(mesh: Mesh, plane: MirrorPlane, tolerance: float) -> SymmetryMap:
    """The partners of a mesh's points across a plane; `tolerance` in metres."""
    positions = mesh.positions[first_vertices(mesh.points)]
    triangles = point_triangles(mesh)
    mirrored = plane.mirrored(positions)
    reach = max(tolerance, REACH * size_of(positions))
    result = match(Cloud(mirrored, triangles), Cloud(positions, triangles), tolerance, reach, same=True)
    # A pair is one both ways; the passes treat both ways alike, but for ties that only order decides.
    both = (result.partners >= 0) & (result.partners[result.partners] == np.arange(len(positions)))
    partners, distances = np.where(both, result.partners, -1), np.where(both, result.distances, np.nan)
    by_edges, uneven_edges = result.by_edges & both, result.uneven_edges
    if (partners < 0).any():
        moved = moved_pieces(mirrored, positions, triangles, partners, (tolerance, reach))
        former = partners[moved.points]
        partners[former[former >= 0]] = -1
        distances[former[former >= 0]] = np.nan
        partners[moved.points], by_edges[moved.points] = moved.partners, True
        distances[moved.points] = np.linalg.norm(mirrored[moved.points] - positions[moved.partners], axis=1)
    return SymmetryMap(
        plane,
        mesh.points,
        partners,
        distances,
        by_edges,
        uneven_edges,
        tolerance,
    )


def plane_of(mesh: Mesh, tolerance: float, normal: Vector | None = None) -> MirrorPlane | None:
    """The mirror plane found from the points alone, across `normal` if that is known; None where there is none."""
    return find_plane(mesh.positions[first_vertices(mesh.points)], tolerance, (normal,) if normal else ALONG_AXES)


def settled_map(mesh: Mesh, found: SymmetryMap) -> SymmetryMap:
    """The partners across the plane that mirrors a mesh's pairs of points best.

    For a plane that was found from joints and lies along no axis: points are more than joints, and often evener. A
    plane that is stated, or lies along an axis, is exact already.
    """
    if not found.plane.found or axis_of(found.plane.normal) is not None:
        return found
    for _ in range(_ROUNDS):
        plane = _fitted(mesh, found)
        apart = np.subtract((*plane.normal, plane.offset), (*found.plane.normal, found.plane.offset))
        if np.abs(apart).max() < _SETTLED:
            break
        found = symmetry_map(mesh, plane, found.tolerance)
    return found


def _fitted(mesh: Mesh, found: SymmetryMap) -> MirrorPlane:
    """The plane with the least sum of squared distances between points and mirrored partners, as in
    `skeleton.planes.fitted`.
    """
    plane, positions = found.plane, mesh.positions[first_vertices(mesh.points)]
    one = np.flatnonzero(found.partners > np.arange(len(found.partners)))
    if len(one) < FEWEST:
        return plane
    ways, sums = (sign * positions[one] + positions[found.partners[one]] for sign in (-1.0, 1.0))
    middle = sums.mean(axis=0)
    _, vectors = np.linalg.eigh((sums - middle).T @ (sums - middle) - ways.T @ ways)
    x, y, z = (vectors[:, 0] * np.sign(vectors[:, 0] @ np.array(plane.normal))).tolist()
    normal = rounded((x, y, z))
    return replace(plane, normal=normal, offset=rounded_number(float(middle @ np.array(normal)) / 2.0))


def symmetry_between(first: Mesh, second: Mesh, tolerance: float, axis: AxisName | None = None) -> PairMap | None:
    """The partners of two meshes that mirror each other (a pair of hands, say), wherever each of them stands.

    None where no mirror image along an axis and no shift brings them together.
    """
    ours, theirs = (mesh.positions[first_vertices(mesh.points)] for mesh in (first, second))
    placed = find_offsets_between(ours, theirs, tolerance, SEARCHED if axis is None else (axis,))
    if placed is None:
        return None
    moved = placed.moved(ours)
    reach = max(tolerance, REACH * size_of(ours))
    result = match(Cloud(moved, point_triangles(first)), Cloud(theirs, point_triangles(second)), tolerance, reach)
    back = np.full(len(theirs), -1)
    known = np.flatnonzero(result.partners >= 0)
    back[result.partners[known]] = known
    return PairMap(placed.axis, placed.offset, result.partners, result.distances, back, result.uneven_edges)


def report_of(mesh: Mesh, result: SymmetryMap, joints: Sequence[str]) -> SymmetryReport:
    """How much has no partner, or one beyond the tolerance, and where; `joints` names the rig's skeleton."""
    missing = result.unmatched
    uneven = np.flatnonzero((result.distances > result.tolerance)[result.points])
    return SymmetryReport(
        mesh.vertex_count,
        place_of(mesh, missing, _distance_to_nearest(mesh, missing, result.plane), joints),
        place_of(mesh, uneven, result.distances[result.points[uneven]], joints),
    )


def size_of(positions: Floats) -> float:
    """The diagonal of the box around points (n, 3), metres."""
    return float(np.linalg.norm(np.ptp(positions, axis=0))) if len(positions) else 0.0


def _distance_to_nearest(mesh: Mesh, vertices: Integers, plane: MirrorPlane) -> Floats:
    from scipy.spatial import cKDTree

    if not len(vertices):
        return np.zeros(0)
    distances, _ = cKDTree(mesh.positions).query(plane.mirrored(mesh.positions[vertices]))
    return np.asarray(distances)
