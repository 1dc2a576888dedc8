"""The strength that a shape follows, in the pose in which its sculpt was made: before and after a change.

A sculpt made where its strength was 1 is wrong by what is missing where that pose gives 0.8 now.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from plica.diff.facts import Difference, FieldChange, renamed_entries
from plica.diff.strength_comparison import StrengthComparison
from plica.rig.integrity import first_problem
from plica.rig.rig import Rig
from plica.rig.surfaces import Sculpt, Shape, StrengthPose

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
        was, now = (
            _posed_strengths(rig, shapes) for rig, shapes in zip((old, new), zip(*posed, strict=True), strict=True)
        )
        for one, other in posed:
            fields = tuple(_fields(was[one.name], now[other.name]))
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


def _posed_strengths(rig: Rig, shapes: Sequence[Shape]) -> dict[str, dict[str, PosedStrength]]:
    """For each shape, what its strength is in the pose of each of its sculpts, by the sculpt's file."""
    from plica.diff.posed_amounts import posed_amounts

    known = {strength.name for strength in rig.strengths}
    result: dict[str, dict[str, PosedStrength]] = {shape.name: {} for shape in shapes}
    posed = [
        (shape.name, shape.follows, sculpt)
        for shape in shapes
        for sculpt in shape.sculpts
        if sculpt.pose and shape.follows in known
    ]
    asked = dict.fromkeys((sculpt.pose, strength) for _, strength, sculpt in posed if not _stated(sculpt, strength))
    found = posed_amounts(rig, tuple(asked))
    for name, strength, sculpt in posed:
        stated = _stated(sculpt, strength)  # a pose that would not give what it says is refused
        amount = stated[-1] if stated else found[sculpt.pose, strength]
        if amount is not None:
            result[name].setdefault(sculpt.file, PosedStrength(sculpt.file, strength, amount))
    return result


def _stated(sculpt: Sculpt, strength: str) -> list[float]:
    """The amounts of a strength that the pose of a sculpt says itself."""
    return [one.amount for one in sculpt.pose if isinstance(one, StrengthPose) and one.strength == strength]
