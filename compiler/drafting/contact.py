"""Skin that does not pass through itself: an intersection-free barrier.

Li and others, "Incremental Potential Contact: Intersection- and Inversion-free Large-Deformation Dynamics" (2020): a
barrier grows without bound as parts come near each other, and no step is longer than one that provably brings nothing
through anything (continuous collision detection). The mathematics is ipctk's, which is imported when it is used.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from scipy import sparse

from plica.drafting.bare_mesh import bare_mesh
from plica.drafting.patch import SkinPatch
from plica.drafting.problem import NoContactError
from plica.measure.pose_crossing import PoseCrossing
from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseFloats
from plica.mesh.weld import edges_of

if TYPE_CHECKING:
    import ipctk

# The gap in radii where none is asked for; and the most that it is of a short edge of the patch, so that neighbours on
# the surface do not push each other.
_GAP: Final = 0.05
_OF_SHORT_EDGES, _SHORT = 0.5, 0.05
# What is kept of the gap where parts stand nearer than that in the neutral stance.
_LEAST_OF_GAP: Final = 0.5
# Of the barrier at that gap; it grows as the gap shrinks, so that the force at a share of the gap stays the same.
_STIFFNESS: Final = 3e3
# Of the way to the first touch, what a step may go.
_SAFE: Final = 0.9
_CCD_STEPS: Final = 100_000


class Ahead(NamedTuple):
    """A straight way: the share of it that brings nothing through anything, 1 for all, and what may meet on it."""

    free: float
    candidates: ipctk.Candidates


class Touch(NamedTuple):
    """The barrier's energy, its gradient (n, 3), the least distance in radii, and what they were computed from."""

    value: float
    gradient: Floats
    nearest: float
    pairs: ipctk.NormalCollisions | None


@dataclass(frozen=True, eq=False)
class Contact:
    """gap: radii from which on the barrier acts; stiffness: its weight."""

    mesh: ipctk.CollisionMesh
    barrier: ipctk.BarrierPotential
    ccd: ipctk.AdditiveCCD
    gap: float
    stiffness: float

    @classmethod
    def of(cls, patch: SkinPatch, gap: float | None) -> Contact:
        """gap in metres. Raises NoContactError where ipctk is not installed."""
        library = _library()
        edges = edges_of(patch.contact_triangles)
        lengths = np.linalg.norm(patch.neutral[edges[:, 0]] - patch.neutral[edges[:, 1]], axis=1)
        own_gap = _GAP if gap is None else gap / patch.radius
        own_gap = min(own_gap, _OF_SHORT_EDGES * float(np.quantile(lengths, _SHORT)))
        mesh = library.CollisionMesh(
            np.asfortranarray(patch.neutral),
            np.asfortranarray(edges.astype(np.int32)),
            np.asfortranarray(patch.contact_triangles.astype(np.int32)),
        )
        # What does not move stays as skinned, also where that passes through itself, and what meets in the neutral
        # stance is let be: points with the same label do not collide.
        labels = np.zeros(len(patch.neutral), np.int32)
        labels[patch.moving] = np.arange(1, len(patch.moving) + 1)
        labels[_meeting_at_rest(patch)] = 0
        mesh.can_collide = library.make_vertex_patches_filter(labels)
        mesh.can_collide = mesh.can_collide & _beyond_neighbours(mesh, patch, edges, own_gap)
        own_gap = _kept_at_rest(mesh, patch.neutral, own_gap)
        barrier = library.BarrierPotential(own_gap, 1.0)
        return cls(mesh, barrier, library.AdditiveCCD(_CCD_STEPS, _SAFE), own_gap, _STIFFNESS * (_GAP / own_gap) ** 2)

    def is_free(self, places: Floats) -> bool:
        """Whether nothing passes through anything at places (n, 3)."""
        return not _library().has_intersections(self.mesh, np.asfortranarray(places))

    def ahead(self, places: Floats, wanted: Floats) -> Ahead:
        """The way from places to wanted places (n, 3)."""
        moves = wanted - places
        # What moves alike does not meet: without the common part of all moves, far fewer pairs have to be looked at.
        relative = np.asfortranarray(wanted - 0.5 * (moves.min(axis=0) + moves.max(axis=0)))
        ordered = np.asfortranarray(places)
        candidates = _library().Candidates()
        candidates.build(self.mesh, ordered, relative, 0.5 * self.gap)
        share = candidates.compute_collision_free_stepsize(self.mesh, ordered, relative, 0.0, self.ccd)
        return Ahead(1.0 if share >= 1.0 else _SAFE * float(share), candidates)

    def touch(self, places: Floats, way: Ahead | None = None) -> Touch:
        """The barrier at places (n, 3); way: one on which they lie, where one is known, which is faster."""
        ordered = np.asfortranarray(places)
        pairs = _library().NormalCollisions()
        if way is None:
            pairs.build(self.mesh, ordered, self.gap)
        else:
            pairs.build(way.candidates, self.mesh, ordered, self.gap)
        if not len(pairs):
            return Touch(0.0, np.zeros_like(places), np.inf, None)
        value = self.stiffness * float(self.barrier(pairs, self.mesh, ordered))
        gradient = self.stiffness * self.barrier.gradient(pairs, self.mesh, ordered).reshape(-1, 3)
        nearest = float(np.sqrt(pairs.compute_minimum_distance(self.mesh, ordered)))
        return Touch(value, gradient, nearest, pairs)

    def curvature(self, places: Floats, touch: Touch) -> SparseFloats | None:
        """The barrier's second derivative (3 n, 3 n) at the places of a touch, made positive semidefinite; None where
        nothing touches."""
        if touch.pairs is None:
            return None
        method = _library().PSDProjectionMethod.CLAMP
        result = self.barrier.hessian(touch.pairs, self.mesh, np.asfortranarray(places), method)
        return sparse.csr_array(self.stiffness * result)


def _beyond_neighbours(
    mesh: ipctk.CollisionMesh, patch: SkinPatch, edges: Integers, gap: float
) -> ipctk.CollisionFilter:
    """Without points that are nearer than the gap at rest because few edges lie between them: the surface's own energy
    keeps them apart."""
    links = sparse.csr_array((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(len(patch.neutral),) * 2)
    links = links + links.T + sparse.eye_array(len(patch.neutral))
    near = sparse.csr_array(links @ links)
    excluded: dict[tuple[int, int], bool] = {}
    pairs = _library().NormalCollisions()
    pairs.build(mesh, np.asfortranarray(patch.neutral), gap)
    for number in range(len(pairs)):
        points = [int(point) for point in pairs[number].vertex_ids(mesh.edges, mesh.faces) if point >= 0]
        links_between = near[points][:, points].toarray() > 0.0
        for i, j in zip(*np.nonzero(links_between), strict=True):
            one, other = points[i], points[j]
            if one < other:
                excluded[one, other] = False
    return _library().make_sparse_filter(excluded, True)


def _kept_at_rest(mesh: ipctk.CollisionMesh, neutral: Floats, gap: float) -> float:
    """The gap, or less where parts stand nearer to each other in the neutral stance, which would push them apart."""
    pairs, ordered = _library().NormalCollisions(), np.asfortranarray(neutral)
    pairs.build(mesh, ordered, gap)
    nearest = float(np.sqrt(pairs.compute_minimum_distance(mesh, ordered))) if len(pairs) else np.inf
    return max(_LEAST_OF_GAP * gap, min(gap, nearest))


def _meeting_at_rest(patch: SkinPatch) -> Integers:
    """The points of triangles that meet others in the neutral stance."""
    surface = bare_mesh(patch.neutral, patch.contact_triangles)
    crossing = PoseCrossing.prepared(surface, patch.neutral, np.ones(len(patch.neutral)))
    return np.unique(patch.contact_triangles[crossing.pairs_at_rest()])


def _library() -> Any:
    try:
        import ipctk
    except ImportError as error:
        raise NoContactError("contact needs the package ipctk (the extra `draft`)") from error
    return ipctk


def quiet_on_one_thread() -> None:
    """Without messages of its own, and so that sums are added up in the same order on every run."""
    library = _library()
    library.set_logger_level(library.LoggerLevel.error)
    library.set_num_threads(1)
