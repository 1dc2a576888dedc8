"""The skin settling: steps down the energy until nothing moves any more."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final, NamedTuple

import numpy as np

from plica.drafting.contact import Ahead, Contact, Touch
from plica.drafting.elastic_skin import ElasticSkin, Evaluated, Goal
from plica.drafting.equations import Equations, RankOne
from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseFloats

# A step is long enough where it brings this share of the decrease that its slope promises (Armijo 1966).
_SUFFICIENT: Final = 1e-4
_HALVINGS: Final = 12
# What has come far nearer than the gap moves apart by steps as short as its distance: longer than this part of it, they
# are not yet at their end.
_OF_NEAREST: Final = 0.3
# Earlier steps that are remembered, and from which share of the largest their products count.
_MEMORY: Final = 6
_CURVES: Final = 1e-10
# Radii: no point moves further in one step.
_LONGEST: Final = 0.5


class Effort(NamedTuple):
    """At most so many steps, or until none moves a point by more than `tolerance` radii."""

    steps: int
    tolerance: float


class Mechanics(NamedTuple):
    """What decides where the skin settles: its energy, the equations of its steps, and contact where there is any."""

    skin: ElasticSkin
    equations: Equations
    contact: Contact | None


class _Step(NamedTuple):
    """How far the moving points went (m, 3), and how the elastic gradient changed (m, 3)."""

    moved: Floats
    change: Floats

    @property
    def usable_product(self) -> float:
        """Of both; 0 where it is too small against them to say how the energy curves."""
        product = float((self.moved * self.change).sum())
        return product if product > _CURVES * float(np.linalg.norm(self.moved) * np.linalg.norm(self.change)) else 0.0


class _State(NamedTuple):
    value: float
    gradient: Floats
    elastic: Evaluated
    touch: Touch | None


def settled(mechanics: Mechanics, places: Floats, goal: Goal, effort: Effort) -> Floats:
    """Where the moving points of places (n, 3) settle; the others stay."""
    moving = mechanics.skin.patch.moving
    now = _state(mechanics, places, goal)
    steps: list[_Step] = []
    for _ in range(effort.steps):
        direction = np.zeros_like(places)
        direction[moving] = _direction(mechanics, places, now, steps)
        longest = float(np.abs(direction).max())
        if longest <= min(effort.tolerance, _OF_NEAREST * (np.inf if now.touch is None else now.touch.nearest)):
            break
        step = min(1.0, _LONGEST / longest) * direction
        way = None if mechanics.contact is None else mechanics.contact.ahead(places, places + step)
        found = _descended(mechanics, places, now, goal, step, way)
        if found is None and not steps:
            break
        if found is None:
            steps = []  # what earlier steps told misled
            continue
        moved, then = found
        change = (then.elastic.gradient - now.elastic.gradient)[moving]
        steps = [*steps, _Step((moved - places)[moving], change)][-_MEMORY:]
        places, now = moved, then
    return places


def resisted(mechanics: Mechanics, places: Floats, moved: Floats) -> Floats:
    """moved (n, 3) places, with the moving points held back from what they touch at places (n, 3).

    The move nearest to the wanted one in the elastic energy's measure under the barrier's second derivative: to first
    order what touches is taken along.
    """
    moving = mechanics.skin.patch.moving
    contact = mechanics.contact
    curvature = None if contact is None else contact.curvature(places, contact.touch(places))
    if curvature is None:
        return moved
    push = np.asarray(curvature @ (moved - places).ravel()).reshape(-1, 3)[moving]
    result = moved.copy()
    result[moving] -= mechanics.equations.solved(push, (), _of_moving(curvature, moving))
    return result


def _descended(
    mechanics: Mechanics, places: Floats, now: _State, goal: Goal, step: Floats, way: Ahead | None
) -> tuple[Floats, _State] | None:
    """Where the energy is low enough along a step (n, 3), and what it is there; None where it is nowhere."""
    slope = float((now.gradient * step).sum())
    share = 1.0 if way is None else way.free
    for _ in range(_HALVINGS):
        tried = places + share * step
        then = _state(mechanics, tried, goal, way)
        if then.value <= now.value + _SUFFICIENT * share * slope:
            return tried, then
        share *= 0.5
    return None


def _direction(mechanics: Mechanics, places: Floats, now: _State, steps: list[_Step]) -> Floats:
    """Down the energy by its curvature as far as known, and by how earlier steps changed the elastic gradient."""
    skin = mechanics.skin
    moving = skin.patch.moving
    curvature = None
    if mechanics.contact is not None and now.touch is not None:
        whole = mechanics.contact.curvature(places, now.touch)
        curvature = None if whole is None else _of_moving(whole, moving)
    updates = [RankOne(2.0 * skin.volume_weight, one[moving]) for one in now.elastic.volume_gradients]
    return _quasi_newton(
        partial(mechanics.equations.solved, updates=updates, contact=curvature),
        now.gradient[moving],
        [step if curvature is None else _with_contact(step, curvature) for step in steps],
    )


def _with_contact(step: _Step, curvature: SparseFloats) -> _Step:
    """With the change that contact as it is now would have added."""
    return step._replace(change=step.change + np.asarray(curvature @ step.moved.ravel()).reshape(-1, 3))


def _quasi_newton(solved: Callable[[Floats], Floats], gradient: Floats, steps: list[_Step]) -> Floats:
    """The two loops of Nocedal, "Updating Quasi-Newton Matrices with Limited Storage" (1980)."""
    kept = [(step, product) for step in steps if (product := step.usable_product) > 0.0]
    rest, shares = gradient.copy(), []
    for step, product in reversed(kept):
        share = float((step.moved * rest).sum()) / product
        rest -= share * step.change
        shares.append(share)
    result = solved(rest)
    for (step, product), share in zip(kept, reversed(shares), strict=True):
        result += (share - float((step.change * result).sum()) / product) * step.moved
    return -result


def _of_moving(curvature: SparseFloats, moving: Integers) -> SparseFloats:
    numbers = (3 * moving[:, None] + np.arange(3)).ravel()
    return curvature[numbers][:, numbers]


def _state(mechanics: Mechanics, places: Floats, goal: Goal, way: Ahead | None = None) -> _State:
    elastic = mechanics.skin.evaluated(places, goal)
    if mechanics.contact is None:
        return _State(elastic.value, elastic.gradient, elastic, None)
    touch = mechanics.contact.touch(places, way)
    return _State(elastic.value + touch.value, elastic.gradient + touch.gradient, elastic, touch)
