"""The way from the neutral stance along the bend, on which nothing ever passes through anything."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import numpy as np

from plica.drafting.contact import Contact
from plica.drafting.elastic_skin import Goal
from plica.drafting.relaxation import Effort, Mechanics, resisted, settled
from plica.mesh.arrays import Floats

# Radians: no step of the bend turns skin further.
LONGEST_STEP: Final = np.radians(10.0)
ON_THE_WAY: Final = Effort(steps=15, tolerance=1e-2)
# Where a step is blocked it is shortened so often at most, to so much of it at most and at least.
_SHORTENINGS: Final = 9
_AT_MOST, _AT_LEAST = 0.7, 0.1
_STEPS_WITHIN: Final = 30


class Place(NamedTuple):
    """Places (n, 3) of a patch's points at a share of the bend."""

    share: float
    places: Floats


GoalAt = Callable[[float], Goal]


def followed(mechanics: Mechanics, goal_at: GoalAt, behind: Sequence[Place], shares: Sequence[float]) -> list[Place]:
    """The places behind, and the skin at each of the rising shares of the bend after the last of them; where it blocks,
    the last is how far it came."""
    assert mechanics.contact is not None
    result = list(behind)
    for share in shares:
        now = _advanced(mechanics, mechanics.contact, goal_at, result[-1], share)
        if now.share > result[-1].share:
            result.append(now)
        if now.share < share:
            break
    return result


def _advanced(mechanics: Mechanics, contact: Contact, goal_at: GoalAt, now: Place, share: float) -> Place:
    for _ in range(_STEPS_WITHIN):
        if now.share >= share:
            break
        moved = _carried(mechanics, contact, goal_at, now, share)
        if moved is None:
            break
        now = Place(moved.share, settled(mechanics, moved.places, goal_at(moved.share), ON_THE_WAY))
    return now


def _carried(mechanics: Mechanics, contact: Contact, goal_at: GoalAt, now: Place, share: float) -> Place | None:
    """The skin moved as its goal moves, as far towards a share of the bend as nothing is in the way."""
    here = goal_at(now.share).places
    moving = mechanics.skin.patch.moving
    wanted = share
    for _ in range(_SHORTENINGS):
        there = goal_at(wanted).places
        carried = there.copy()
        carried[moving] = now.places[moving] + (there - here)[moving]
        carried = resisted(mechanics, now.places, carried)
        free = contact.ahead(now.places, carried).free
        if free >= 1.0:
            return Place(wanted, carried)
        wanted = now.share + (wanted - now.share) * min(_AT_MOST, max(_AT_LEAST, free))
    return None
