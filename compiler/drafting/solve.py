"""A first sculpt, computed: the skin settles in the pose that a shape is made for.

The energy is that of `plica.drafting.elastic_skin`: as rigid as possible against the neutral (Sorkine and Alexa 2007),
limits of strain, bending, the volume as wished, and attraction to the skinned pose, which grows to the border. With
contact the bend is followed from the neutral stance in small steps, each free of collisions (Li and others 2020), since
from a pose in which skin has passed through itself nothing finds out of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np

from plica.drafting.contact import Contact, quiet_on_one_thread
from plica.drafting.elastic_skin import ElasticSkin, Goal
from plica.drafting.equations import Equations
from plica.drafting.figures import SkinMeasures
from plica.drafting.inbetweens import Blending, fewest
from plica.drafting.patch import SkinPatch, patch_of
from plica.drafting.path import LONGEST_STEP, GoalAt, Place, followed
from plica.drafting.problem import Draft, DraftedPose, DraftProblem, DraftSettings
from plica.drafting.relaxation import Effort, Mechanics, settled
from plica.drafting.turns import widest_turn
from plica.mesh.arrays import Floats

_AT_ONCE: Final = Effort(steps=60, tolerance=1e-4)
_AT_THE_END: Final = Effort(steps=30, tolerance=1e-3)
# Skin is torn where a triangle is longer by this than both skinning makes it and twice its neutral length.
_TORN: Final = 0.25
_UNNAMED: Final = 1


def drafted(problem: DraftProblem, settings: DraftSettings) -> Draft:
    """The first sculpt of a region, in metres and not rounded; the same bytes on every run.

    Raises ValueError where the region holds no triangle, and `NoContactError` where contact is asked for and the extra
    `draft` is not installed.
    """
    patch = patch_of(problem, settings)
    if patch is None:
        raise ValueError("the region that is drafted holds no triangle")
    goal_at = _goals(problem, settings, patch)
    contact = None
    if settings.contact:
        quiet_on_one_thread()
        contact = Contact.of(patch, settings.gap)
    skin = ElasticSkin.of(patch, settings)
    mechanics = Mechanics(skin, Equations.of(skin.curvature), contact)
    blending = None
    if problem.matrices is not None:
        blending = Blending(patch, goal_at, _of_patch(problem.matrices, patch))
    measures = SkinMeasures.of(problem, patch)
    if contact is None:
        places = _chosen(settings, patch, blending, _Settling(mechanics, goal_at))
    else:
        way = _untorn(skin, goal_at, _way(mechanics, contact, goal_at))
        places = _uncrossed(
            _Followed(mechanics, goal_at, way),
            lambda settling: _chosen(settings, patch, blending, settling),
            lambda place: measures.crossings(_skin(problem, patch, place)),
        )
    return _draft(problem, patch, measures, blending, places)


@dataclass(frozen=True, eq=False)
class _Settling:
    """Without contact: settled from the skinned pose at once."""

    mechanics: Mechanics
    goal_at: GoalAt

    reached = 1.0

    def at(self, share: float) -> Place:
        goal = self.goal_at(share)
        return Place(share, settled(self.mechanics, goal.places, goal, _AT_ONCE))


@dataclass(frozen=True, eq=False)
class _Followed:
    """With contact: settled from the nearest place on the way."""

    mechanics: Mechanics
    goal_at: GoalAt
    way: list[Place]

    @property
    def reached(self) -> float:
        return self.way[-1].share

    def at(self, share: float) -> Place:
        near = min(self.way[1:], key=lambda place: abs(place.share - share))
        return near._replace(places=settled(self.mechanics, near.places, self.goal_at(near.share), _AT_THE_END))

    def before(self, share: float) -> _Followed:
        """Without what comes at a share and later."""
        return replace(self, way=[place for place in self.way if place.share < share])


def _goals(problem: DraftProblem, settings: DraftSettings, patch: SkinPatch) -> GoalAt:
    """The skinned places, and the volumes wished, which change evenly along the bend."""

    @lru_cache(maxsize=64)
    def goal_at(share: float) -> Goal:
        kept = 1.0 + (settings.volume_kept - 1.0) * share
        skinned = problem.skinned(share)
        wishes = [volume.wish(kept, skinned) for volume in patch.volumes]
        return Goal(patch.local(skinned), np.array(wishes))

    return goal_at


def _way(mechanics: Mechanics, contact: Contact, goal_at: GoalAt) -> list[Place]:
    turn = widest_turn(mechanics.skin.patch, goal_at(1.0).places)
    count = 2 * max(1, int(np.ceil(0.5 * turn / LONGEST_STEP)))  # even, so that half of the bend is among them
    return followed(mechanics, contact, goal_at, [(step + 1) / count for step in range(count)])


def _untorn(skin: ElasticSkin, goal_at: GoalAt, way: list[Place]) -> list[Place]:
    """The way up to where the skin is still whole: where it blocks, its border tears."""
    kept = list(way)
    while len(kept) > 1:
        largest, _ = skin.maps.singular_values(kept[-1].places)
        skinned, _ = skin.maps.singular_values(goal_at(kept[-1].share).places)
        if largest.max() <= max(float(skinned.max()), 2.0) + _TORN:
            break
        kept.pop()
    return kept


def _uncrossed(
    settling: _Followed, chosen: Callable[[_Followed], list[Place]], crossings: Callable[[Place], int]
) -> list[Place]:
    """The poses chosen of as much of the way as gives none that passes through itself.

    Contact keeps apart what it looks at; what meets in the neutral stance, neighbours on the surface and skin that does
    not take part it does not look at, so that what comes out is looked at once more as a whole.
    """
    while True:
        places = chosen(settling)
        crossed = next((place.share for place in places[1:] if crossings(place)), None)
        if crossed is None:
            return places
        settling = settling.before(crossed)


def _chosen(
    settings: DraftSettings, patch: SkinPatch, blending: Blending | None, settling: _Settling | _Followed
) -> list[Place]:
    """The neutral stance and the poses that the draft has."""
    at = lru_cache(maxsize=None)(settling.at)
    start = Place(0.0, patch.neutral)
    if settling.reached <= 0.0:
        return [start]

    def poses_for(count: int) -> list[Place]:
        places = [at(settling.reached * (one + 1) / (count + 1)) for one in range(count + 1)]
        return [start, *{place.share: place for place in places}.values()]

    if settings.inbetweens is not None or blending is None:
        return poses_for(_UNNAMED if settings.inbetweens is None else settings.inbetweens)
    return fewest(blending, poses_for)


def _of_patch(matrices: Callable[[float], np.ndarray], patch: SkinPatch) -> Callable[[float], np.ndarray]:
    return lambda share: matrices(share)[patch.vertices]


def _skin(problem: DraftProblem, patch: SkinPatch, place: Place) -> Floats:
    return patch.put_back(problem.skinned(place.share), place.places, problem.points)


def _draft(
    problem: DraftProblem, patch: SkinPatch, measures: SkinMeasures, blending: Blending | None, places: list[Place]
) -> Draft:
    reached = places[-1].share
    poses = tuple(DraftedPose(place.share, _skin(problem, patch, place)) for place in places[1:])
    before = measures.figures(problem.skinned(reached))
    return Draft(
        reached=reached,
        poses=poses,
        before=before,
        after=measures.figures(poses[-1].positions) if poses else before,
        between=blending.faults(places) if blending is not None and poses else None,
        moving=np.flatnonzero(np.isin(problem.points, patch.points[patch.moving])),
    )
