"""How many poses on the way a draft needs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from plica.drafting.bare_mesh import bare_mesh
from plica.drafting.elastic_skin import Goal
from plica.drafting.patch import SkinPatch
from plica.drafting.path import Place
from plica.drafting.problem import Faults
from plica.measure.pose_crossing import PoseCrossing
from plica.mesh.arrays import Floats

MOST_CHOSEN: Final = 3
# Of the volume, what it may be off on the way.
_VOLUME_OFF: Final = 0.005
# Between each two poses it is looked at so many places.
_LOOKS: Final = 3


@dataclass(frozen=True, eq=False)
class Blending:
    """How a shape with inbetweens moves a patch: at each share of the bend the offsets, in the space of the neutral
    mesh, of the poses before and after it are mixed evenly, and skinning carries them.

    goal_at: where skinning puts the patch, and its wished volumes; matrices: (n, 3, 3) at a share.
    """

    patch: SkinPatch
    goal_at: Callable[[float], Goal]
    matrices: Callable[[float], Floats]

    def offsets(self, place: Place) -> Floats:
        """What a pose adds to the neutral mesh (n, 3)."""
        moved = place.places - self.goal_at(place.share).places
        return np.asarray(np.linalg.solve(self.matrices(place.share), moved[:, :, None])[:, :, 0])

    def at(self, share: float, before: tuple[float, Floats], after: tuple[float, Floats]) -> Floats:
        """The patch (n, 3) at a share between two poses, each given by its share and its offsets."""
        mix = (share - before[0]) / (after[0] - before[0])
        offsets = (1.0 - mix) * before[1] + mix * after[1]
        return np.asarray(self.goal_at(share).places + np.einsum("nij,nj->ni", self.matrices(share), offsets))

    def faults(self, places: Sequence[Place]) -> Faults:
        """Between rising poses, the neutral first."""
        crossing = PoseCrossing.prepared(
            bare_mesh(self.patch.neutral, self.patch.contact_triangles),
            self.patch.neutral,
            np.ones(len(self.patch.neutral)),
        )
        moves = np.zeros(len(self.patch.neutral), bool)
        moves[self.patch.moving] = True
        drafted = np.asarray(moves[self.patch.contact_triangles].any(axis=1))
        keys = [(place.share, self.offsets(place)) for place in places]
        worst, off = 0, 0.0
        for before, after in pairwise(keys):
            for look in range(1, _LOOKS + 1):
                share = before[0] + (after[0] - before[0]) * look / (_LOOKS + 1)
                positions = self.at(share, before, after)
                pairs = crossing.pairs(positions)
                worst = max(worst, int(np.count_nonzero(drafted[pairs].any(axis=1))))
                for volume, wish in zip(self.patch.volumes, self.goal_at(share).volumes.tolist(), strict=True):
                    off = max(off, abs(volume.share(volume.of_places(positions)[0] - wish)))
        return Faults(worst, off)


def fewest(blending: Blending, poses_for: Callable[[int], list[Place]]) -> list[Place]:
    """The poses with the fewest inbetweens that keep volume and crossings good on the way, or with those that do best.

    poses_for: the poses, the neutral first, for a number of inbetweens.
    """
    best: tuple[Faults, list[Place]] | None = None
    for count in range(MOST_CHOSEN + 1):
        places = poses_for(count)
        faults = blending.faults(places)
        if not faults.crossings and faults.volume <= _VOLUME_OFF:
            return places
        if best is None or faults < best[0]:
            best = faults, places
    assert best is not None
    return best[1]
