"""A first sculpt, computed: the skin settles in the pose that a shape is made for.

The energy is that of `plica.drafting.elastic_skin`: as rigid as possible against the neutral (Sorkine and Alexa 2007),
limits of strain, bending, the volume as wished, and attraction to the skinned pose, which grows to the border.
"""

from __future__ import annotations

import numpy as np

from plica.drafting.elastic_skin import ElasticSkin, Goal
from plica.drafting.equations import Equations
from plica.drafting.figures import SkinMeasures
from plica.drafting.patch import SkinPatch, patch_of
from plica.drafting.problem import Draft, DraftedPose, DraftProblem, DraftSettings
from plica.drafting.relaxation import settled
from plica.mesh.arrays import Floats

_STEPS, _TOLERANCE = 60, 1e-4


def drafted(problem: DraftProblem, settings: DraftSettings) -> Draft:
    """The first sculpt of a region, in metres and not rounded; the same bytes on every run.

    Raises ValueError where the region holds no triangle, or arrays do not suit each other, and `NoContactError` where
    contact is asked for and the extra `draft` is not installed.
    """
    patch = patch_of(problem, settings)
    if patch is None:
        raise ValueError("the region that is drafted holds no triangle")
    skin = ElasticSkin.of(patch, settings)
    equations = Equations.of(skin.curvature)
    shares = _shares(settings.inbetweens or 0)
    poses = tuple(_direct(problem, settings, skin, equations, share) for share in shares)
    measures = SkinMeasures.of(problem, patch)
    moving = np.flatnonzero(np.isin(problem.points, patch.points[patch.moving]))
    last = poses[-1]
    before = measures.figures(problem.skinned(last.share))
    return Draft(last.share, poses, before, measures.figures(last.positions), moving)


def _shares(inbetweens: int) -> list[float]:
    return [(one + 1) / (inbetweens + 1) for one in range(inbetweens + 1)]


def _direct(
    problem: DraftProblem, settings: DraftSettings, skin: ElasticSkin, equations: Equations, share: float
) -> DraftedPose:
    """Without contact: settled from the skinned pose."""
    skinned = problem.skinned(share)
    goal = goal_at(skin.patch, skinned, settings, share)
    places = settled(skin, equations, goal.places, goal, _STEPS, _TOLERANCE)
    return DraftedPose(share, skin.patch.put_back(skinned, places, problem.points))


def goal_at(patch: SkinPatch, skinned: Floats, settings: DraftSettings, share: float) -> Goal:
    """The skinned places, and the volume wished, which changes evenly along the bend."""
    neutral, _ = patch.volume.of_positions(patch.neutral)
    return Goal(patch.local(skinned), neutral * (1.0 + (settings.volume_kept - 1.0) * share))
