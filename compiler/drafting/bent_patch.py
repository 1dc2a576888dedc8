"""A patch of skin that is bent: where it settles, without contact at once, with it along the way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np

from plica.drafting.coarse import CoarsePatch
from plica.drafting.contact import Contact
from plica.drafting.elastic_skin import ElasticSkin, Goal
from plica.drafting.equations import Equations
from plica.drafting.inbetweens import Blending
from plica.drafting.patch import SkinPatch
from plica.drafting.path import LONGEST_STEP, ON_THE_WAY, GoalAt, Place, followed
from plica.drafting.problem import DraftProblem, DraftSettings
from plica.drafting.relaxation import Effort, Mechanics, settled
from plica.drafting.turns import widest_turn
from plica.mesh.arrays import Floats

_AT_ONCE: Final = Effort(steps=60, tolerance=1e-4)
_AT_THE_END: Final = Effort(steps=30, tolerance=1e-3)
# Skin is torn where a triangle is longer by this than both skinning makes it and twice its neutral length.
_TORN: Final = 0.25
# The gap of a coarse patch in spacings, so that the fine one, which is rounder, fits between.
_COARSE_GAP: Final = 0.5


class BentPatch(NamedTuple):
    """A patch with all that decides where it settles; blending: None for a problem without matrices."""

    mechanics: Mechanics
    goal_at: GoalAt
    blending: Blending | None

    @classmethod
    def of(cls, problem: DraftProblem, settings: DraftSettings, patch: SkinPatch) -> BentPatch:
        """Everything that stays the same along the bend."""
        skin = ElasticSkin.of(patch, settings)
        contact = Contact.of(patch, settings.gap) if settings.contact else None
        goal_at = _goals(problem, settings, patch)
        blending = None
        if problem.matrices is not None:
            blending = Blending(patch, goal_at, _of_patch(problem.matrices, patch))
        return cls(Mechanics(skin, Equations.of(skin.curvature), contact), goal_at, blending)


@dataclass(frozen=True, eq=False)
class Settling:
    """Without contact: settled from the skinned pose at once."""

    bent: BentPatch

    reached = 1.0

    def at(self, share: float) -> Place:
        """The skin at a share of the bend."""
        goal = self.bent.goal_at(share)
        return Place(share, settled(self.bent.mechanics, goal.places, goal, _AT_ONCE))


@dataclass(frozen=True, eq=False)
class Followed:
    """With contact: settled from the nearest place on the way, which begins with the neutral stance."""

    bent: BentPatch
    way: list[Place]

    @property
    def reached(self) -> float:
        """The share of the bend that it ends at."""
        return self.way[-1].share

    def at(self, share: float) -> Place:
        """The skin at the place that is nearest to a share of the bend."""
        near = min(self.way[1:], key=lambda place: abs(place.share - share))
        return self._settled(near, _AT_THE_END)

    def before(self, share: float) -> Followed:
        """Without what comes at a share and later."""
        return replace(self, way=[place for place in self.way if place.share < share])

    def whole(self) -> Followed:
        """Up to where the skin is still whole: where it blocks, its border tears."""
        skin = self.bent.mechanics.skin
        kept = list(self.way)
        while len(kept) > 1:
            kept[-1] = self._settled(kept[-1], ON_THE_WAY)
            largest, _ = skin.maps.singular_values(kept[-1].places)
            skinned, _ = skin.maps.singular_values(self.bent.goal_at(kept[-1].share).places)
            if largest.max() <= max(float(skinned.max()), 2.0) + _TORN:
                break
            kept.pop()
        return replace(self, way=kept)

    def _settled(self, place: Place, effort: Effort) -> Place:
        goal = self.bent.goal_at(place.share)
        return place._replace(places=settled(self.bent.mechanics, place.places, goal, effort))


def followed_from_neutral(bent: BentPatch) -> Followed:
    """The whole way with all points."""
    start = Place(0.0, bent.mechanics.skin.patch.neutral)
    return Followed(bent, followed(bent.mechanics, bent.goal_at, [start], _shares(bent)))


def followed_by_fewer(problem: DraftProblem, settings: DraftSettings, bent: BentPatch) -> Followed | None:
    """The way with all points, which follows that of a coarse patch as far as nothing passes through anything and goes
    on by itself from there; None where the patch has few points already."""
    patch, contact = bent.mechanics.skin.patch, bent.mechanics.contact
    coarse = CoarsePatch.of(patch, problem)
    if coarse is None or contact is None:
        return None
    gap = _COARSE_GAP * coarse.spacing * patch.radius
    wider = replace(settings, gap=gap if settings.gap is None else max(gap, settings.gap))
    few = followed_from_neutral(BentPatch.of(problem, wider, coarse.patch))
    bending = few.bent.mechanics.skin.bending
    way = [Place(0.0, patch.neutral)]
    for place in few.way[1:]:
        goal = bent.goal_at(place.share)
        places = coarse.refined(place.places, bending.rotations(place.places), goal, patch.moving)
        if contact.is_free(places):
            way.append(Place(place.share, places))
    shares = [share for share in _shares(bent) if share > way[-1].share]
    return Followed(bent, followed(bent.mechanics, bent.goal_at, way, shares))


def _shares(bent: BentPatch) -> list[float]:
    turn = widest_turn(bent.mechanics.skin.patch, bent.goal_at(1.0).places)
    count = 2 * max(1, int(np.ceil(0.5 * turn / LONGEST_STEP)))  # even, so that half of the bend is among them
    return [(step + 1) / count for step in range(count)]


def _goals(problem: DraftProblem, settings: DraftSettings, patch: SkinPatch) -> GoalAt:
    """The skinned places, and the volumes wished, which change evenly along the bend."""

    @lru_cache(maxsize=64)
    def goal_at(share: float) -> Goal:
        kept = 1.0 + (settings.volume_kept - 1.0) * share
        skinned = problem.skinned(share)
        wishes = [volume.wish(kept, skinned) for volume in patch.volumes]
        return Goal(patch.local(skinned), np.array(wishes))

    return goal_at


def _of_patch(matrices: Callable[[float], Floats], patch: SkinPatch) -> Callable[[float], Floats]:
    return lambda share: matrices(share)[patch.vertices]
