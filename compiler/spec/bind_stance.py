"""Which pose of the model is the neutral stance: as the character says, else the one that is clearly the more even.

The neutral stance is the pose in which every reading is 0 and left mirrors right. Files hold two that may be meant: the
pose in which the skin was bound, and the rest transforms of their nodes, which may be any pose of an animation.
"""

from __future__ import annotations

from collections.abc import Sequence

from plica.diagnostics import Diagnostics
from plica.named_tuples import NamedTuple
from plica.skeleton.bind_pose import BindPose
from plica.skeleton.evenness import Evenness, clearly_evener, evenness
from plica.skeleton.pairs_by_position import pairs_by_position
from plica.skeleton.side_patterns import named_sides
from plica.skeleton.sides import AxisName, Pair
from plica.skeleton.skeleton import Skeleton
from plica.source import Span
from plica.spec.entries import ChosenStance
from plica.spec.fact_sets import FactSet
from plica.values import Stance

POSE_NAMES: dict[Stance, str] = {"bind": "the bind pose", "rest": "the file's rest"}


class ModelPoses(NamedTuple):
    """The two poses of a model, the pairs that are declared, and the axis and offset of the mirror plane, as stated."""

    rest: Skeleton
    bind: BindPose
    pairs: Sequence[Pair]
    plane: tuple[AxisName | None, float | None]


def only_rest(skeleton: Skeleton) -> ChosenStance:
    """The stance of a skeleton that has no other pose than its rest."""
    return ChosenStance("rest", False, skeleton, None)


def bind_stance(facts: FactSet, poses: ModelPoses, of_model: bool, span: Span, found: Diagnostics) -> ChosenStance:
    """The stance; `of_model`: not of a skeleton declared in the text.

    Where it cannot be told there is a diagnostic, and the file's rest goes on for it.
    """
    fact = facts.one("stance")
    rest, bind = poses.rest, poses.bind
    stated: Stance | None = None if fact is None else fact.node.part("which")
    place = span if fact is None else fact.scope.span(fact.node)
    if bind.skeleton is None:
        if stated == "bind" and rest.joints:
            found.add("no-bind-pose", place, reason=bind.fault if of_model else "the skeleton is declared in the text")
        elif stated is None and of_model and not bind.absent:
            found.add("bind-pose-unusable", place, reason=bind.fault)
        return only_rest(rest)
    if bind.same:
        return ChosenStance("rest", stated is not None, rest, None)
    even = both_even(poses)
    taken = stated or evener(*even)
    if taken is None:
        found.add("stance-unknown", place, bind=_text(even[0]), rest=_text(even[1]))
        return only_rest(rest)
    if taken == "bind" and bind.guess:
        found.add("far-from-bind-pose", place, guess=bind.guess)
    chosen = even[0] if taken == "bind" else even[1]
    if chosen is not None and not chosen.even:
        found.add("uneven-stance", place, pose=POSE_NAMES[taken], bind=_text(even[0]), rest=_text(even[1]))
    return ChosenStance(taken, stated is not None, rest, bind.skeleton, bind.assumed, *even)


def both_even(poses: ModelPoses) -> tuple[Evenness | None, Evenness | None]:
    """How even the bind pose and the rest are; None for both where no pairs tell, or there is no bind pose.

    Where no pairs are declared, those tell that names or, in one of the poses, places give.
    """
    bind = poses.bind.skeleton
    if bind is None:
        return None, None
    pairs = poses.pairs or _found_pairs(bind, poses.rest)
    return evenness(bind, pairs, poses.plane, poses.rest), evenness(poses.rest, pairs, poses.plane, bind)


def _found_pairs(bind: Skeleton, rest: Skeleton) -> list[Pair]:
    named = list(named_sides(bind).sides.pairs.values()) or list(named_sides(rest).sides.pairs.values())
    if named:
        return named
    placed = max(pairs_by_position(bind).pairs, pairs_by_position(rest).pairs, key=len)
    return [Pair(bind.joints[left].name, left, right) for left, right in placed]


def evener(bind: Evenness | None, rest: Evenness | None) -> Stance | None:
    """The pose that is clearly the more even; None where none is, or nothing tells."""
    if bind is None or rest is None:
        return None
    if clearly_evener(bind, rest):
        return "bind"
    if clearly_evener(rest, bind):
        return "rest"
    # As even as each other: the one whose mirror plane lies along an axis of the model, if only one's does.
    return None if bind.along == rest.along else "bind" if bind.along else "rest"


def _text(even: Evenness | None) -> str:
    return "no pair of joints tells" if even is None else even.text
