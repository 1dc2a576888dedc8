"""What poses, and what an expectation goes over, say in words: before and after a change."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence

from plica.diff.value_text import ARROW, amount
from plica.quantities import changed
from plica.rig.entry_text import posed_text
from plica.rig.expectations import goes_over_everything, swept_strengths
from plica.rig.rig import Expectation
from plica.rig.surfaces import JointPose, StrengthPose

PoseItem = StrengthPose | JointPose

_OWN = "their own strengths"


def pose_change(old: Sequence[PoseItem], new: Sequence[PoseItem]) -> tuple[str, str]:
    """How a pose differs: in words that read alike on both sides, and exactly, where the axes of joints say more."""
    before, after = _without_shared(old, new)
    if not before and not after:
        said = ["the same parts in another order"]
    else:
        said = []
        for key in (_turned, _named):
            pairs, before, after = _paired(before, after, key)
            said += [_changed(one, other) for one, other in pairs]
        said += [f"no longer {_part(item)}" for item in before] + [f"also {_part(item)}" for item in after]
    exact = ""
    if any(isinstance(item, JointPose) for item in (*old, *new)):
        exact = f"at {_listed(old)} {ARROW} {_listed(new)}"
    return ", ".join(said), exact


def _listed(items: Sequence[PoseItem]) -> str:
    return ", ".join(map(posed_text, items))


def _without_shared(old: Sequence[PoseItem], new: Sequence[PoseItem]) -> tuple[list[PoseItem], list[PoseItem]]:
    """The parts that only one of two poses has."""
    before, after = list(old), list(new)
    for item in old:
        if item in after:
            after.remove(item)
            before.remove(item)
    return before, after


def _turned(item: PoseItem) -> Hashable:
    return item[:-1]  # all but how much


def _named(item: PoseItem) -> Hashable:
    return type(item).__name__, item[0]


def _paired(
    before: list[PoseItem], after: list[PoseItem], key: Callable[[PoseItem], Hashable]
) -> tuple[list[tuple[PoseItem, PoseItem]], list[PoseItem], list[PoseItem]]:
    """Old and new parts with the same key, in their order, and what is left of both."""
    pairs: list[tuple[PoseItem, PoseItem]] = []
    rest, waiting = [], list(after)
    for item in before:
        partner = next((other for other in waiting if key(other) == key(item)), None)
        if partner is None:
            rest.append(item)
        else:
            waiting.remove(partner)
            pairs.append((item, partner))
    return pairs, rest, waiting


def _changed(old: PoseItem, new: PoseItem) -> str:
    if isinstance(old, StrengthPose) or isinstance(new, StrengthPose):
        return f"{old[0]} {changed(old[-1])} {ARROW} {changed(new[-1])}"
    turned = f"{old.joint} turned by {amount(old.angle, 'deg')}"
    if old.axis != new.axis:
        by = "" if old.angle == new.angle else f" {ARROW} {amount(new.angle, 'deg')}"
        return f"{turned}{by} about another axis"
    return f"{turned} {ARROW} {amount(new.angle, 'deg')}"


def _part(item: PoseItem) -> str:
    if isinstance(item, StrengthPose):
        return f"{item.strength} {changed(item.amount)}"
    return f"{item.joint} turned by {amount(item.angle, 'deg')}"


# ---- what an expectation goes over ------------------------------------------------------------------------


def sweeps_less(old: Expectation, new: Expectation) -> bool:
    """Whether some pose is not looked at any more; everything is the default."""
    if not set(old.over_clips) <= set(new.over_clips):
        return True
    if goes_over_everything(new):
        return False
    listed = set(swept_strengths(old)) <= set(swept_strengths(new)) and set(old.over_poses) <= set(new.over_poses)
    return goes_over_everything(old) or not listed


def over_text(item: Expectation) -> str:
    """What an expectation goes over, as one would write it after `over`."""
    parts = [*item.over, *(f"pose {name}" for name in item.over_poses), *(f"clip {file}" for file in item.over_clips)]
    if goes_over_everything(item):
        parts.append("everything")
    return ", ".join(parts) or _OWN
