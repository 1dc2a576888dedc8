"""The neutral stance of a first spec, and the sides that are found in it."""

from __future__ import annotations

from typing import NamedTuple

from plica.readers.model_outline import ModelOutline
from plica.skeleton.side_patterns import FoundSides, find_sides
from plica.skeleton.skeleton import Skeleton
from plica.spec.bind_stance import ModelPoses, both_even, evener
from plica.values import Stance


class FirstStance(NamedTuple):
    """The stance to write (None where there is only one pose) and what is said beside it; its skeleton and sides."""

    written: Stance | None
    comment: str
    skeleton: Skeleton
    sides: FoundSides


def first_stance(outline: ModelOutline) -> FirstStance:
    """The stance that is clearly the more even; where none is, the bind pose, and that somebody has to decide."""
    rest, bind = outline.skeleton, outline.bind
    if bind.skeleton is None:
        written: Stance | None = None if bind.absent else "rest"
        return FirstStance(written, bind.fault if written else "", rest, find_sides(rest))
    if bind.same:
        return FirstStance(None, "", rest, find_sides(rest))
    found = {"bind": find_sides(bind.skeleton), "rest": find_sides(rest)}
    best = max(found.values(), key=lambda sides: len(sides.sides.pairs))
    even = both_even(ModelPoses(rest, bind, list(best.sides.pairs.values()), (None, None)))
    taken = evener(*even)
    comment = "left mirrors right in it; the file's rest is another pose" if taken == "bind" else ""
    if taken is None:
        comment = "neither this nor `rest pose` is clearly the more even: decide which one is meant"
    chosen: Stance = taken or "bind"
    return FirstStance(chosen, comment, bind.skeleton if chosen == "bind" else rest, found[chosen])
