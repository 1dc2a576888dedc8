"""A volume that a draft keeps, as an expectation measures it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.drafting.bare_mesh import bare_mesh
from plica.drafting.enclosed_volume import EnclosedVolume, needed_with
from plica.drafting.problem import DraftProblem
from plica.measure.volume import Volume
from plica.mesh.arrays import Floats, Integers
from plica.mesh.weld import per_point

# Of the volume of the whole patch, what a part encloses at least that is to keep its own.
_LEAST_PART: Final = 0.1


@dataclass(frozen=True, eq=False)
class HeldVolume:
    """part: what of it the points of a patch decide, in radii; whole: all of it, in metres, where it reaches beyond the
    patch; vertices (n,) of those points; radius: metres; neutral: all of it in the neutral stance, in radii."""

    part: EnclosedVolume
    whole: Volume | None
    vertices: Integers
    radius: float
    neutral: float

    @classmethod
    def of(
        cls, part: EnclosedVolume, whole: Volume | None, vertices: Integers, radius: float, neutral: Floats
    ) -> HeldVolume:
        """neutral (v, 3): the skin in the neutral stance, metres."""
        bare = cls(part, whole, vertices, radius, 0.0)
        return cls(part, whole, vertices, radius, bare.of_skin(neutral))

    def of_places(self, places: Floats) -> tuple[float, Floats]:
        """The part of it, and its gradient (n, 3), at places (n, 3) of the patch's points, in radii."""
        return self.part.of_positions(places)

    def of_skin(self, positions: Floats) -> float:
        """All of it at positions (v, 3), metres; in radii."""
        if self.whole is None:
            return self.part.of_positions(positions[self.vertices] / self.radius)[0]
        return float(self.whole.of(positions[None])[0]) / self.radius**3

    def share(self, volume: float) -> float:
        """A volume, in radii, as a share of all of it in the neutral stance; not a number where that is nothing."""
        return volume / self.neutral if self.neutral else float("nan")

    def wish(self, kept: float, skinned: Floats) -> float:
        """What the part has to be for all of it to be a share of the neutral one; skinned (v, 3), metres: the skin, of
        which the patch's points are drafted."""
        elsewhere = self.of_skin(skinned) - self.part.of_positions(skinned[self.vertices] / self.radius)[0]
        return kept * self.neutral - elsewhere


class MovingPatch(NamedTuple):
    """The points of a patch: vertices (n,), the first one of each; points (n,): their numbers; moves (p,): which of all
    points move; radius: metres."""

    vertices: Integers
    points: Integers
    moves: NDArray[np.bool_]
    radius: float


def measured_volumes(problem: DraftProblem) -> tuple[Volume, ...]:
    """The volumes that are expected; those of regions that enclose nothing are left out."""
    mesh = bare_mesh(problem.neutral, problem.triangles, problem.points)
    volumes = (Volume.prepared(mesh, one.weights, problem.neutral, one.border) for one in problem.measured)
    return tuple(volume for volume in volumes if volume.rest)


def points_with_a_say(volumes: Sequence[Volume], problem: DraftProblem, moves: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which of all points (p,) have a say in what moving ones (p,) change of measured volumes."""
    result = np.zeros(len(moves), bool)
    for volume in volumes:
        points = problem.points[volume.vertices]
        result[points[needed_with(volume, moves[points])]] = True
    return result


def held_volumes(
    problem: DraftProblem, measured: Sequence[Volume], patch: MovingPatch, triangles: Integers
) -> tuple[HeldVolume, ...]:
    """The volumes that a patch keeps: those that are measured; without any that of all its triangles (t, 3) and of the
    parts that they belong to."""
    volumes: list[tuple[EnclosedVolume, Volume | None]] = []
    rows = np.full(len(patch.moves), -1)
    rows[patch.points] = np.arange(len(patch.points))
    for whole in measured:
        points = problem.points[whole.vertices]
        part = EnclosedVolume.changed(whole, patch.moves[points], rows[points], len(patch.points))
        volumes.append((part, whole))
    if not measured:
        volumes = [(part, None) for part in _parts(problem, patch, triangles)]
    given = patch.vertices, patch.radius, problem.neutral
    return tuple(HeldVolume.of(part, whole, *given) for part, whole in volumes)


def _parts(problem: DraftProblem, patch: MovingPatch, triangles: Integers) -> Iterator[EnclosedVolume]:
    """What triangles (t, 3) enclose: all of them, and those of each part that encloses a share worth speaking of."""
    count = len(patch.points)
    whole = EnclosedVolume.of(triangles, count)
    yield whole
    if problem.parts is None:
        return
    part = np.sort(per_point(problem.points, problem.parts)[patch.points][triangles], axis=1)[:, 1]
    numbers = np.unique(part)
    places = problem.neutral[patch.vertices]
    least = _LEAST_PART * abs(whole.of_positions(places)[0])
    for number in numbers if len(numbers) > 1 else ():
        volume = EnclosedVolume.of(triangles[part == number], count)
        if abs(volume.of_positions(places)[0]) >= least:
            yield volume
