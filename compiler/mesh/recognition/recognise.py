"""Takes a file that came back from sculpting for what it is.

Everything is told by the vertices that nobody touched: each guess (the pose that was stated, rest, a part of the way
between, another unit or other axes, another order) puts the character's vertices somewhere, and the guess that most of
the file's vertices agree with to rounding is the truth. Nothing is taken for granted: a guess that too few agree with
is no answer, and a pose that every vertex it moves was moved away from again is not verified.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.recognition.order import UNKNOWN, matched
from plica.mesh.recognition.similarity import LOOSE, Fit, Similarity, fitted, guessed, least_squares, nearest_pairs
from plica.mesh.weld import edges_of, first_vertices, labels_of_rows, per_vertex, point_triangles

CERTAIN: Final = 0.5  # of all vertices agree: the file is what the guess says
ENOUGH: Final = 0.05  # of the vertices that the pose moves stand where it puts them: it is the pose
BETTER: Final = 0.1  # of the vertices that the pose moves: so many more tell another pose from the stated one
SETTLED: Final = 0.5  # of the vertices that the pose moves stand where it puts them: no other pose has to be tried
TELLING: Final = 1e-3  # of the body's size: vertices that a pose moves by less tell nothing about it
LONGEST: Final = 1.5  # times the stated pose: as far as poses are looked for
STEPS: Final = 16

FEWEST: Final = 8  # vertices that a similarity is told by

Marks = NDArray[np.bool_]
Places = Callable[[Floats], Floats]
"""Positions (n, v, 3) of the character's vertices at shares (n,) of the way from rest to a pose, which is 1."""


@dataclass(frozen=True, eq=False)
class Recognised:
    """What a file is.

    positions (v, 3): where it puts the character's vertices, metres of model space. similarity: from the file's lengths
    and axes to the character's. share: of the way from rest to the pose, 1 for that pose itself. renumbered: whether
    its vertices are in another order than the character's. untouched: how many of the character's vertices stand where
    they stood. telling, confirming: how many the stated pose moves, and how many of these the file leaves where the
    pose puts them. tolerance: metres, the rounding of the file.
    """

    positions: Floats
    similarity: Similarity
    share: float
    renumbered: bool
    untouched: int
    telling: int
    confirming: int
    tolerance: float

    @property
    def verified(self) -> bool:
        """Whether the pose was told by vertices, or there is none to tell."""
        return self.telling == 0 or self.confirming >= max(FEWEST, ENOUGH * self.telling)


@dataclass(frozen=True)
class Unrecognised:
    """Why a file is not taken: a kind (`count`, `order`, `place`) and figures. agreeing: the largest share of vertices
    that any guess had; matched: how many points of the character were found in the file."""

    kind: str
    vertices: int
    agreeing: float = 0.0
    matched: int = 0


def recognise(
    points: Floats, edges: Integers | None, mesh: Mesh, size: float, places: Places, stated: float = 1.0
) -> Recognised | Unrecognised:
    """What the file with these points (n, 3), in its own lengths and axes, is.

    edges (e, 2): of its faces, if it has any. size: of the body, metres. stated: the share of the way that `places`
    goes at which the file is said to stand.
    """
    ordered = _in_order(points, mesh)
    if ordered is not None:
        result = recognise_ordered(ordered, size, places, stated)
        if isinstance(result, Recognised):
            return result
    anew = _in_other_order(points, edges, mesh, size, places)
    if isinstance(anew, Unrecognised):
        return Unrecognised(anew.kind if ordered is None else "place", len(points), anew.agreeing, anew.matched)
    return recognise_ordered(anew, size, places, stated, renumbered=True)


def _in_order(points: Floats, mesh: Mesh) -> Floats | None:
    """The file's points for the character's vertices (v, 3), where numbers tell."""
    if len(points) == mesh.vertex_count:
        return points
    return np.asarray(per_vertex(mesh.points, points)) if len(points) == mesh.point_count else None


def recognise_ordered(
    points: Floats, size: float, places: Places, stated: float = 1.0, *, renumbered: bool = False
) -> Recognised | Unrecognised:
    """The pose and the similarity of points (v, 3) in the order of the character's vertices; else as `recognise`.

    renumbered: whether they were brought into that order.
    """
    rest, end = places(np.array([0.0, 1.0]))
    telling = np.linalg.norm(end - rest, axis=1) > TELLING * size
    tried = [(stated, fitted(points, end if stated == 1.0 else rest, size))]
    if telling.any() and not _settled(tried[0][1], telling):
        still = ~telling
        anchor = fitted(points[still], rest[still], size) if still.sum() >= FEWEST else None
        if anchor is not None and anchor.share < CERTAIN:
            return Unrecognised("place", len(points), anchor.share)
        held = None if anchor is None else anchor.similarity
        for share in (1.0 - stated, _nearest_share(points, telling, held, size, places)):
            tried.append((share, fitted(points, places(np.array([share]))[0], size)))
    share, fit = _best(tried, telling)
    if fit.share < CERTAIN and not (fit.share > ENOUGH and _is_identity(fit.similarity, size)):
        return Unrecognised("place", len(points), fit.share)
    return Recognised(
        positions=points if _is_identity(fit.similarity, size) else fit.similarity.of(points),
        similarity=fit.similarity,
        share=share,
        renumbered=renumbered,
        untouched=int(fit.agree.sum()),
        telling=int(telling.sum()),
        confirming=int((fit.agree & telling).sum()),
        tolerance=fit.tolerance,
    )


def _settled(fit: Fit, telling: Marks) -> bool:
    """Whether so many vertices stand where the pose puts them that it can be no other."""
    return fit.share >= CERTAIN and int((fit.agree & telling).sum()) > SETTLED * int(telling.sum())


def _best(tried: list[tuple[float, Fit]], telling: Marks) -> tuple[float, Fit]:
    """The pose that most vertices agree with; the stated one, the first, unless another has clearly more."""
    stated = tried[0]
    best = max(tried, key=lambda one: int(one[1].agree.sum()))
    more = int(best[1].agree.sum()) - int(stated[1].agree.sum())
    return best if more > max(3, BETTER * int(telling.sum())) else stated


def _nearest_share(points: Floats, telling: Marks, held: Similarity | None, size: float, places: Places) -> float:
    """The share of the way to the stated pose at which the vertices that tell stand nearest to the file's.

    held: the similarity that the body's other vertices give, which stand alike in all of these poses; None where there
    are too few, then it is fitted at each share. A quarter of the vertices that tell counts, as others may have been
    sculpted.
    """

    def miss(share: float) -> float:
        there = places(np.array([share]))[0]
        similarity = held or fitted(points, there, size).similarity
        return float(np.quantile(np.linalg.norm(similarity.of(points[telling]) - there[telling], axis=1), 0.25))

    grid = np.linspace(0.0, LONGEST, STEPS)
    misses = [miss(share) for share in grid.tolist()]
    at = int(np.argmin(misses))
    return _golden(miss, float(grid[max(at - 1, 0)]), float(grid[min(at + 1, STEPS - 1)]))


def _golden(miss: Callable[[float], float], low: float, high: float) -> float:
    """Where a function with one dip is least (golden section search; Kiefer, "Sequential Minimax Search", 1953)."""
    ratio = (5.0**0.5 - 1.0) / 2.0
    one, other = high - ratio * (high - low), low + ratio * (high - low)
    at_one, at_other = miss(one), miss(other)
    for _ in range(40):
        if at_one < at_other:
            high, other, at_other = other, one, at_one
            one = high - ratio * (high - low)
            at_one = miss(one)
        else:
            low, one, at_one = one, other, at_other
            other = low + ratio * (high - low)
            at_other = miss(other)
    return (low + high) / 2.0


def _is_identity(similarity: Similarity, size: float) -> bool:
    """Whether a similarity is nothing but rounding."""
    turned = float(np.abs(similarity.scale * similarity.turn - np.eye(3)).max())
    return turned <= LOOSE and float(np.abs(similarity.move).max()) <= LOOSE * size


# ---- other orders


def _in_other_order(
    points: Floats, edges: Integers | None, mesh: Mesh, size: float, places: Places
) -> Floats | Unrecognised:
    """The file's points for the character's vertices (v, 3), matched by places and neighbours."""
    firsts = first_vertices(mesh.points)
    welds = labels_of_rows(points)
    kept = np.unique(welds, return_index=True)[1]
    single = points[kept]
    if len(single) != mesh.point_count:
        return Unrecognised("count", len(points))
    own = edges_of(point_triangles(mesh))
    theirs = np.zeros((0, 2), np.int64)
    if edges is not None and len(edges):
        theirs = _between_different(welds[edges])
    best: Integers | None = None
    for there in places(np.array([1.0, 0.0])):
        goal = there[firsts]
        rough = guessed(single, goal, size)
        if rough is None:
            continue
        one, other = nearest_pairs(rough.of(single), goal, 20 * LOOSE * size)
        if len(one) < 4:
            continue
        fit = fitted(single[one], goal[other], size)
        exact = least_squares(single[one][fit.agree], goal[other][fit.agree]) if fit.agree.sum() >= 4 else rough
        rows = matched(exact.of(single), theirs, goal, own, max(fit.tolerance, 1e-9))
        if best is None or (rows != UNKNOWN).sum() > (best != UNKNOWN).sum():
            best = rows
    if best is None:
        return Unrecognised("place", len(points))
    known = int((best != UNKNOWN).sum())
    if known < len(best):
        return Unrecognised("order", len(points), known / len(best), known)
    return np.asarray(per_vertex(mesh.points, single[best]))


def _between_different(edges: Integers) -> Integers:
    ordered = np.sort(edges[edges[:, 0] != edges[:, 1]], axis=1)
    return np.unique(ordered, axis=0)
