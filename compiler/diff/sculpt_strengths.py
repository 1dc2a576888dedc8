"""The strength that a shape follows, in the pose in which its sculpt was made: before and after a change.

A sculpt made where its strength was 1 is wrong by what is missing where that pose gives 0.8 now.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Final, NamedTuple

from plica.diff.facts import Difference, FieldChange, renamed_entries
from plica.diff.strength_comparison import StrengthComparison
from plica.rig.integrity import first_problem
from plica.rig.rig import Rig
from plica.rig.surfaces import Sculpt, Shape, StrengthPose

if TYPE_CHECKING:
    from plica.mesh.pose_solver import PoseSolver

POSED_STRENGTH: Final = "posed_strength"
"""The field of a shape that no rig holds."""
_NOTHING: Final = 1e-6  # as near as a pose comes to the strengths that it is said to have
_TABLES: Final = frozenset({"strengths", "controls", "fields", "skeleton", "shapes"})


class PosedStrength(NamedTuple):
    """The strength that a shape follows, and its amount in the pose that the sculpt was made in."""

    sculpt: str
    strength: str
    amount: float


def with_posed_strengths(old: Rig, new: Rig, told: Iterable[Difference]) -> Iterator[Difference]:
    """The facts, with what poses of sculpts give now; of shapes that say the same as before, facts of their own."""
    facts = tuple(told)
    if not any(fact.table in _TABLES for fact in facts):
        yield from facts
        return
    changes = dict(_changes(old, new))
    for fact in facts:
        if fact.table == "shapes" and fact.what in ("changed", "renamed") and fact.name in changes:
            yield fact._replace(fields=(*fact.fields, *changes.pop(fact.name)))
        else:
            yield fact
    shapes = [{shape.name: shape for shape in rig.shapes} for rig in (old, new)]
    for name, fields in changes.items():
        before, after = shapes[0].get(name), shapes[1][name]
        yield Difference("changed", "shapes", "shape", after.declared, after.side, name, before, after, fields)


def _changes(old: Rig, new: Rig) -> Iterator[tuple[str, tuple[FieldChange, ...]]]:
    former = {now: was for was, now in renamed_entries(old, new).get("shapes", {}).items()}
    before = {shape.name: shape for shape in old.shapes}
    pairs = [(before.get(former.get(shape.name, shape.name)), shape) for shape in new.shapes]
    posed = [(one, other) for one, other in pairs if one is not None and _posed(one) and _posed(other)]
    affected = frozenset(StrengthComparison(old, new).affected)
    posed = [(one, other) for one, other in posed if _may_differ(one, other, affected)]
    if not posed or any(first_problem(rig) is not None for rig in (old, new)):
        return
    try:
        was, now = _Posing(old), _Posing(new)
        for one, other in posed:
            fields = tuple(_fields(was.strengths(one), now.strengths(other)))
            if fields:
                yield other.name, fields
    except ValueError:  # a rig made by hand whose numbers cannot be evaluated
        return


def _posed(shape: Shape) -> bool:
    return shape.follows is not None and any(sculpt.pose for sculpt in shape.sculpts)


def _may_differ(old: Shape, new: Shape, affected: frozenset[str]) -> bool:
    """Whether something differs that the pose of a sculpt, or the strength there, is computed from."""
    if old.follows != new.follows or [one.pose for one in old.sculpts] != [one.pose for one in new.sculpts]:
        return True
    items = [item for sculpt in new.sculpts for item in sculpt.pose]
    return not affected.isdisjoint([new.follows, *(one.strength for one in items if isinstance(one, StrengthPose))])


def _fields(old: Mapping[str, PosedStrength], new: Mapping[str, PosedStrength]) -> Iterator[FieldChange]:
    for file, after in new.items():
        before = old.get(file)
        if before is not None and abs(before.amount - after.amount) > _NOTHING:
            yield FieldChange(POSED_STRENGTH, before, after)


class _Posing:
    """Poses the sculpts of one rig."""

    def __init__(self, rig: Rig) -> None:
        from plica.mesh.pose_solver import PoseSolver

        self._solver: PoseSolver = PoseSolver(rig)
        self._known = {strength.name for strength in rig.strengths}

    def strengths(self, shape: Shape) -> dict[str, PosedStrength]:
        """What the shape's strength is in the pose of each of its sculpts, by the sculpt's file."""
        assert shape.follows is not None
        result: dict[str, PosedStrength] = {}
        for sculpt in shape.sculpts:
            amount = self._amount(sculpt, shape.follows)
            if amount is not None:
                result.setdefault(sculpt.file, PosedStrength(sculpt.file, shape.follows, amount))
        return result

    def _amount(self, sculpt: Sculpt, strength: str) -> float | None:
        if not sculpt.pose or strength not in self._known:
            return None
        stated = [one.amount for one in sculpt.pose if isinstance(one, StrengthPose) and one.strength == strength]
        if stated:  # a pose that would not give what it says is refused
            return stated[-1]
        made = self._solver.pose(sculpt.pose)
        if made.problems:  # in no pose that is known; building says so
            return None
        return self._solver.strength(made.pose, strength)
