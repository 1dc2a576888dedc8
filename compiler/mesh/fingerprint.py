"""What a neutral mesh was when work on it began, and what is different about another one.

A fingerprint is a short text that files can carry; it tells what kind of thing differs. With the arrays of both at
hand, `compare_neutral` also tells how many vertices moved, how far and where.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.vertex_places import VertexPlace, place_of
from plica.mesh.weld import edge_keys, edges_of, first_vertices, point_triangles

VERSION = "1"
FINEST = 1e-9  # metres; smaller differences are rounding
LENGTH = 16  # hexadecimal digits of each part
MOST = 0.5  # share from which on something holds for the mesh as a whole

Layout = Literal["vertices", "points"]
Difference = Literal["none", "count", "order", "topology", "moved"]


class Fingerprint(NamedTuple):
    """The number of vertices and hashes (SHA-256, shortened): of the triangles, of the positions in their order, and

    of the same positions in any order. Positions count as glTF stores them, in single precision, to the nanometre.
    """

    vertices: int
    triangles: str
    positions: str
    places: str

    def __str__(self) -> str:
        return f"{VERSION}:{self.vertices}:{self.triangles}:{self.positions}:{self.places}"


@dataclass(frozen=True)
class NeutralDifference:
    """What another mesh has different from the neutral.

    kind: "none"; "count": another number of vertices; "order": the same places under other numbers; "topology": other
    faces, so another mesh; "moved": the same mesh, but vertices stand elsewhere. vertices, other_vertices: the numbers;
    `layout`: whether the other's vertices are the neutral's vertices or its welded points. `count`: how many have moved
    or changed their number; `moved`: by joint, where and how far.
    """

    kind: Difference
    vertices: int
    points: int
    other_vertices: int
    layout: Layout = "vertices"
    count: int = 0
    moved: tuple[VertexPlace, ...] = ()

    @property
    def same(self) -> bool:
        """Whether nothing differs."""
        return self.kind == "none"

    @property
    def worst(self) -> VertexPlace | None:
        """The place with the vertex that moved furthest."""
        return max(self.moved, key=lambda place: place.worst, default=None)


def fingerprint(mesh: Mesh) -> Fingerprint:
    """The fingerprint of a neutral mesh."""
    return fingerprint_of(mesh.positions, mesh.triangles)


def fingerprint_of(positions: Floats, triangles: Integers) -> Fingerprint:
    """The fingerprint of positions (v, 3) in metres and triangles (t, 3)."""
    # Single precision alone would tell 0 from 1e-12.
    steps = np.rint(positions.astype(np.float32).astype(np.float64) / FINEST).astype("<i8")
    return Fingerprint(
        len(positions),
        _digest(triangles.astype("<i8")),
        _digest(steps),
        _digest(steps[np.lexsort(steps.T)]),
    )


def read_fingerprint(text: str) -> Fingerprint | None:
    """The fingerprint that a text spells, None where it is none, or of another version."""
    parts = text.split(":")
    if len(parts) != 5 or parts[0] != VERSION or not parts[1].isdecimal() or len(parts[1]) > 18:
        return None
    return Fingerprint(int(parts[1]), parts[2], parts[3], parts[4])


def compare_fingerprints(ours: Fingerprint, other: Fingerprint) -> Difference:
    """What kind of thing differs."""
    if ours == other:
        return "none"
    if ours.vertices != other.vertices:
        return "count"
    if ours.places == other.places and ours.positions != other.positions:
        return "order"
    return "moved" if ours.triangles == other.triangles else "topology"


def compare_neutral(
    mesh: Mesh,
    positions: Floats,
    edges: Integers | None,
    joints: Sequence[str],
    tolerance: float,
    expected: Floats | None = None,
) -> NeutralDifference:
    """How positions (n, 3) in metres differ from a neutral mesh.

    `edges` (e, 2) of the other mesh, if known; its polygons may be cut into other triangles. `expected` (v, 3): where
    the neutral's vertices stand if not in the neutral pose (for sculpts over a posed mesh). Files that keep positions
    and uvs apart have one vertex for each welded point; that is taken for the same mesh too.
    """
    count, points = mesh.vertex_count, mesh.point_count
    placed = mesh.positions if expected is None else expected
    if len(positions) == count:
        layout: Layout = "vertices"
        vertices = np.arange(count)
        own = edges_of(mesh.triangles)
    elif len(positions) == points:
        layout = "points"
        vertices = first_vertices(mesh.points)
        own = edges_of(point_triangles(mesh))
    else:
        return NeutralDifference("count", count, points, len(positions))
    placed = placed[vertices]
    distances = np.linalg.norm(positions - placed, axis=1)
    moved = np.flatnonzero(distances > tolerance)
    agreement = 1.0 if edges is None else _agreement(own, edges)
    elsewhere = _at_other_places(positions[moved], placed, tolerance)
    jumbled = edges is None or agreement < MOST
    if jumbled and len(moved) and elsewhere.mean() > MOST:
        return NeutralDifference("order", count, points, len(positions), layout, int(elsewhere.sum()))
    if agreement < MOST:
        return NeutralDifference("topology", count, points, len(positions), layout)
    if not len(moved):
        return NeutralDifference("none", count, points, len(positions), layout)
    where = place_of(mesh, vertices[moved], distances[moved], joints)
    return NeutralDifference("moved", count, points, len(positions), layout, len(moved), where)


def _digest(values: NDArray[np.generic]) -> str:
    return hashlib.sha256(np.ascontiguousarray(values).tobytes()).hexdigest()[:LENGTH]


def _agreement(ours: Integers, others: Integers) -> float:
    """The share of the others' edges that are edges of ours as well."""
    keys = np.unique(edge_keys(others[:, 0], others[:, 1]))
    if not len(keys) or not len(ours):
        return 1.0 if len(keys) == len(ours) else 0.0
    return float(np.isin(keys, edge_keys(ours[:, 0], ours[:, 1])).mean())


def _at_other_places(positions: Floats, placed: Floats, tolerance: float) -> NDArray[np.bool_]:
    """Whether each position is that of some vertex of the neutral."""
    if not len(positions):
        return np.zeros(0, bool)
    distances, _ = cKDTree(placed).query(positions, distance_upper_bound=max(tolerance, 1e-12))
    return np.asarray(np.isfinite(distances))
