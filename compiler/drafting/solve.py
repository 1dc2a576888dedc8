"""A first sculpt, computed: the skin settles in the pose that a shape is made for.

The energy is that of `plica.drafting.elastic_skin`: as rigid as possible against the neutral (Sorkine and Alexa 2007),
limits of strain, bending, the volume as wished, and attraction to the skinned pose, which grows to the border. With
contact the bend is followed from the neutral stance in small steps, each free of collisions (Li and others 2020), since
from a pose in which skin has passed through itself nothing finds out of it. Dense skin is followed with fewer points.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Final

import numpy as np

from plica.drafting.bent_patch import BentPatch, Followed, Settling, followed_by_fewer, followed_from_neutral
from plica.drafting.contact import quiet_on_one_thread
from plica.drafting.figures import SkinMeasures
from plica.drafting.inbetweens import fewest
from plica.drafting.patch import SkinPatch, patch_of
from plica.drafting.path import Place
from plica.drafting.problem import Draft, DraftedPose, DraftProblem, DraftSettings
from plica.mesh.arrays import Floats

_UNNAMED: Final = 1


def drafted(problem: DraftProblem, settings: DraftSettings) -> Draft:
    """The first sculpt of a region, in metres and not rounded; the same bytes on every run.

    Raises ValueError where the region holds no triangle, and `NoContactError` where contact is asked for and the extra
    `draft` is not installed.
    """
    patch = patch_of(problem, settings)
    if patch is None:
        raise ValueError("the region that is drafted holds no triangle")
    if settings.contact:
        quiet_on_one_thread()
    bent = BentPatch.of(problem, settings, patch)
    measures = SkinMeasures.of(problem, patch)
    if settings.contact:
        places = _with_contact(problem, settings, bent, lambda place: measures.crossings(_skin(problem, patch, place)))
    else:
        places = _chosen(settings, Settling(bent))
    return _draft(problem, patch, measures, bent, places)


def _with_contact(
    problem: DraftProblem, settings: DraftSettings, bent: BentPatch, crossings: Callable[[Place], int]
) -> list[Place]:
    """The poses of as much of the way as gives none that is torn or passes through itself.

    Contact keeps apart what it looks at; what meets in the neutral stance, neighbours on the surface and skin that does
    not take part it does not look at, so that what comes out is looked at once more as a whole.
    """
    followed = (followed_by_fewer(problem, settings, bent) or followed_from_neutral(bent)).whole()
    while True:
        places = _chosen(settings, followed)
        crossed = next((place.share for place in places[1:] if crossings(place)), None)
        if crossed is None:
            return places
        followed = followed.before(crossed)


def _chosen(settings: DraftSettings, settling: Settling | Followed) -> list[Place]:
    """The neutral stance and the poses that the draft has."""
    at = lru_cache(maxsize=None)(settling.at)
    start = Place(0.0, settling.bent.mechanics.skin.patch.neutral)
    if settling.reached <= 0.0:
        return [start]

    def poses_for(count: int) -> list[Place]:
        places = [at(settling.reached * (one + 1) / (count + 1)) for one in range(count + 1)]
        return [start, *{place.share: place for place in places}.values()]

    blending = settling.bent.blending
    if settings.inbetweens is not None or blending is None:
        return poses_for(_UNNAMED if settings.inbetweens is None else settings.inbetweens)
    return fewest(blending, poses_for)


def _skin(problem: DraftProblem, patch: SkinPatch, place: Place) -> Floats:
    return patch.put_back(problem.skinned(place.share), place.places, problem.points)


def _draft(
    problem: DraftProblem, patch: SkinPatch, measures: SkinMeasures, bent: BentPatch, places: list[Place]
) -> Draft:
    reached = places[-1].share
    poses = tuple(DraftedPose(place.share, _skin(problem, patch, place)) for place in places[1:])
    before = measures.figures(problem.skinned(reached))
    return Draft(
        reached=reached,
        poses=poses,
        before=before,
        after=measures.figures(poses[-1].positions) if poses else before,
        between=bent.blending.faults(places) if bent.blending is not None and poses else None,
        moving=np.flatnonzero(np.isin(problem.points, patch.points[patch.moving])),
    )
