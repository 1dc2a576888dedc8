"""What the drafted part of the skin is like, by the measures that expectations use."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plica.drafting.bare_mesh import bare_mesh
from plica.drafting.held_volume import HeldVolume
from plica.drafting.patch import SkinPatch
from plica.drafting.problem import DraftProblem, SkinFigures
from plica.measure.area_shares import areas_of, kept_to
from plica.measure.pose_crossing import PoseCrossing
from plica.measure.stretch import Stretch
from plica.mesh.arrays import Floats, Integers

# The share of the area that usual stretch speaks of.
_USUAL = 0.95


@dataclass(frozen=True, eq=False)
class SkinMeasures:
    """Measures of a patch. neutral (n, 3) metres; moves (t,): which triangles of the crossings have a point that
    moves."""

    volume: HeldVolume
    stretch: Stretch
    areas: Floats
    crossing: PoseCrossing
    vertices: Integers
    moves: NDArray[np.bool_]

    @classmethod
    def of(cls, problem: DraftProblem, patch: SkinPatch) -> SkinMeasures:
        """Everything that is prepared once."""
        neutral = problem.neutral[patch.vertices]
        part = bare_mesh(neutral, patch.triangles)
        stretch = Stretch.on_surface(part, None, neutral)
        areas = areas_of(neutral[patch.triangles[stretch.numbers]])
        whole_skin = bare_mesh(problem.neutral, problem.triangles, problem.points)
        crossing = PoseCrossing.prepared(whole_skin, problem.neutral, np.ones(len(problem.neutral)))
        moves = np.zeros(int(problem.points.max()) + 1, bool)
        moves[patch.points[patch.moving]] = True
        moved = np.asarray(moves[problem.points[problem.triangles]].any(axis=1))
        return cls(patch.volumes[0], stretch, areas, crossing, patch.vertices, moved)

    def figures(self, positions: Floats) -> SkinFigures:
        """At positions (v, 3), metres, of the whole skin."""
        own = positions[self.vertices]
        largest, smallest, _ = self.stretch.each(own)
        usual, _ = kept_to(largest[:, None], self.areas, _USUAL)
        return SkinFigures(
            volume=self.volume.share(self.volume.of_skin(positions)),
            worst_stretch=float(largest.max()) - 1.0,
            usual_stretch=float(usual[0]) - 1.0,
            least_singular_value=float(smallest.min()),
            crossings=self.crossings(positions),
        )

    def crossings(self, positions: Floats) -> int:
        """Pairs of triangles that pass through each other, one of them in the drafted part."""
        pairs = self.crossing.pairs(positions)
        return int(np.count_nonzero(self.moves[pairs].any(axis=1)))
