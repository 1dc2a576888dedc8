"""What became of every strength of a rig, computed by evaluating both states on the same poses.

A strength whose entry and everything that it is made of are the same in both states is the same everywhere; of all
others it is only known what was computed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property
from math import isfinite
from typing import Any

from plica.diff.facts import renamed_entries
from plica.diff.renaming import Renamed, rewritten
from plica.diff.strength_batches import strength_batches
from plica.diff.strength_change import StrengthChange
from plica.kinds.curves import curve_problem
from plica.kinds.readings import controls_of, joints_of
from plica.rig.combinations import parts_of
from plica.rig.integrity import first_problem
from plica.rig.parts import joints_named, made_of, part_of_rig
from plica.rig.rig import Rig, RigJoint
from plica.rig.strengths import Combination, Combine, Driver, Field, Sample, Strength

_NAMED = ("controls", "fields", "strengths")


class StrengthComparison:
    """Compares the strengths that two rigs have in common, by the names of the later one."""

    def __init__(self, old: Rig, new: Rig) -> None:
        before = in_new_names(old, renamed_entries(old, new))
        self.old, self.new = _with_weights_of(before, new), _with_weights_of(new, before)
        self._no_worse: dict[str, bool] = {}

    @cached_property
    def sources(self) -> tuple[Sources, Sources]:
        """What the strengths of each state are made of."""
        return Sources(self.old), Sources(self.new)

    @cached_property
    def affected(self) -> tuple[str, ...]:
        """The strengths of both states that may differ, because they or something that they are made of do."""
        before, after = self.sources
        found: dict[str, None] = {}
        for name, strength in after.strengths.items():
            other = before.strengths.get(name)
            if other is None:
                continue
            if isinstance(strength, Combine) and isinstance(other, Combine):
                parts = parts_of(strength.combination)
                if strength.combination != other.combination or any(_is_among(part, found, before) for part in parts):
                    found[name] = None
            elif before.meaning(other) != after.meaning(strength):
                found[name] = None
        return tuple(found)

    @cached_property
    def affected_places(self) -> dict[str, int]:
        """Where each of `affected` stands there."""
        return {name: place for place, name in enumerate(self.affected)}

    @cached_property
    def affected_combines(self) -> dict[str, list[str]]:
        """For each strength, the affected combinations of the later state that it is a part of."""
        users: dict[str, list[str]] = {}
        for name in self.affected:
            strength = self.sources[1].strengths[name]
            for part in dict.fromkeys(parts_of(strength.combination)) if isinstance(strength, Combine) else ():
                users.setdefault(part, []).append(name)
        return users

    @cached_property
    def readers(self) -> dict[tuple[str, str], list[str]]:
        """For each table and entry of it, the affected strengths that read it and say the same as before; of a field
        all of its samples.
        """
        before, after = self.sources
        found: dict[tuple[str, str], list[str]] = {}
        for name in self.affected:
            strength = after.strengths[name]
            keys = [("fields", strength.field)] if isinstance(strength, Sample) else []
            if not self.is_changed_itself(name):
                keys += [("controls", one) for one in after.controls_read(strength)]
                moved = {one for one in after.joints_above(strength) if before.joints.get(one) != after.joints[one]}
                keys += [("skeleton", one) for one in moved & after.joints_read(strength) or moved]
            for key in dict.fromkeys(keys):
                found.setdefault(key, []).append(name)
        return found

    def is_changed_itself(self, name: str) -> bool:
        """Whether a strength of both states says something else itself."""
        one, other = (sources.strengths[name] for sources in self.sources)
        return said_by(one) != said_by(other)

    def is_no_worse(self, name: str) -> bool:
        """Whether a combination changes by no more than what it is made of, without looking: a product, a least and a
        greatest of strengths from 0 to 1, of which one differs and stands there once.
        """
        if name not in self._no_worse:
            self._no_worse[name] = self._looked_whether_no_worse(name)
        return self._no_worse[name]

    def _looked_whether_no_worse(self, name: str) -> bool:
        strength = self.sources[1].strengths[name]
        if not isinstance(strength, Combine):
            return isinstance(strength, Sample) or (strength.clamped and self._was_clamped(name))
        parts = parts_of(strength.combination)
        return (
            not self.is_changed_itself(name)
            and not _has_sum(strength.combination)
            and sum(part in self.affected_places for part in parts) == 1
            and all(self.is_no_worse(part) if part in self.affected_places else self._is_share(part) for part in parts)
        )

    def _was_clamped(self, name: str) -> bool:
        former = self.sources[0].strengths.get(name)
        return isinstance(former, Driver) and former.clamped

    def _is_share(self, name: str) -> bool:
        """Whether a strength is surely between 0 and 1; of a combination that is not looked into."""
        strength = self.sources[1].strengths.get(name)
        return isinstance(strength, Sample) or (isinstance(strength, Driver) and strength.clamped)

    def change_of(self, name: str) -> StrengthChange | None:
        """What became of a strength of `affected`; None where that could not be computed."""
        return self._computed.get(name)

    @cached_property
    def _computed(self) -> dict[str, StrengthChange]:
        known = tuple(self._known())
        if not known or any(first_problem(part_of_rig(rig, known)) is not None for rig in (self.old, self.new)):
            return {}
        from plica.diff.strength_changes import StrengthChanges

        return dict(StrengthChanges(self.old, self.new).of(strength_batches(known, self.sources)))

    def _known(self) -> Iterator[str]:
        """The affected strengths that can be evaluated on poses that both states can take."""
        before, after = self.sources
        for name in self.affected:
            parts = [(one, one.strengths[part]) for one in (before, after) for part in made_of(one.strengths, (name,))]
            joints = {joint for one, part in parts for joint in one.joints_read(part)}
            controls = {control for one, part in parts for control in one.controls_read(part)}
            common = joints <= before.joints.keys() & after.joints.keys()
            common = common and controls <= before.controls.keys() & after.controls.keys()
            if common and all(is_sound(part) for _, part in parts):
                yield name


# ---- what strengths are made of ------------------------------------------------------------------------------


class Sources:
    """What the strengths of a rig are made of."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.joints = {joint.name: joint for joint in rig.skeleton}
        self.controls = {control.name: control for control in rig.controls}
        self.fields = {field.name: field for field in rig.fields}
        self.strengths: dict[str, Strength] = {strength.name: strength for strength in rig.strengths}

    def meaning(self, strength: Strength) -> tuple[Any, ...]:
        """All that makes a driver or a sample, of a combination only how it is put together."""
        match strength:
            case Driver():
                read = self._rests(controls_of(strength.reading)), self._chain(joints_of(strength.reading))
                return *said_by(strength), *read
            case Sample():
                field = self.fields.get(strength.field)
                if field is None:
                    return said_by(strength)
                return (
                    *said_by(strength),
                    *_numbers_of(field),
                    self._chain((field.joint, field.relative_to or field.joint)),
                )
            case Combine():
                return said_by(strength)

    def controls_read(self, strength: Strength) -> tuple[str, ...]:
        """The controls whose values a strength reads itself."""
        return controls_of(strength.reading) if isinstance(strength, Driver) else ()

    def joints_read(self, strength: Strength) -> frozenset[str]:
        """The joints whose pose a strength reads itself; for a reading between two joints, all above them as well."""
        named = joints_named(strength, self.fields)
        above = frozenset(joint[0] for joint in self._chain(named)) if len(named) > 1 else frozenset()
        return above | frozenset(named)

    def joints_above(self, strength: Strength) -> frozenset[str]:
        """The joints that a strength reads and all above them."""
        return frozenset(joint[0] for joint in self._chain(self.joints_read(strength)))

    def _rests(self, names: Iterable[str]) -> tuple[float | None, ...]:
        return tuple(self.controls[name].rest if name in self.controls else None for name in names)

    def _chain(self, names: Iterable[str]) -> frozenset[tuple[Any, ...]]:
        """Joints and all those above them, at rest."""
        met: dict[str, RigJoint] = {}
        waiting = list(names)
        while waiting:
            joint = self.joints.get(waiting.pop())
            if joint is not None and joint.name not in met:
                met[joint.name] = joint
                waiting += [] if joint.parent is None else [joint.parent]
        return frozenset((one.name, one.parent, one.neutral, one.rest) for one in met.values())


def said_by(strength: Strength) -> tuple[Any, ...]:
    """What a strength says itself, without its names and what is said about it."""
    match strength:
        case Driver():
            return strength.reading, strength.span, strength.clamped, strength.curve
        case Sample():
            return strength.field, strength.sample
        case Combine():
            return (strength.combination,)


def _has_sum(combination: Combination) -> bool:
    inner = [part for part in combination.parts if isinstance(part, Combination)]
    return combination.how == "sum" or any(map(_has_sum, inner))


def _numbers_of(field: Field) -> tuple[Any, ...]:
    return field._replace(name="", side="none", declared="", about=None)  # type: ignore[arg-type]


def _is_among(part: str, found: dict[str, None], before: Sources) -> bool:
    return part in found or part not in before.strengths


def is_sound(strength: Strength) -> bool:
    """Whether a span and a curve can be evaluated; those of a rig that was checked always can."""
    if not isinstance(strength, Driver):
        return True
    start, stop = strength.span
    return isfinite(start) and isfinite(stop) and start != stop and curve_problem(strength.curve) is None


def _with_weights_of(rig: Rig, other: Rig) -> Rig:
    """The rig with the weights of morph targets that only the other one reads: a pose of the model gives them all."""
    known = {control.name for control in rig.controls}
    added = tuple(one for one in other.controls if one.morph is not None and one.name not in known)
    return rig._replace(controls=(*rig.controls, *added)) if added else rig


def in_new_names(rig: Rig, renamed: Renamed) -> Rig:
    """A rig with its controls, fields and strengths called what the later state calls them."""
    if not renamed:
        return rig
    tables: dict[str, Any] = {}
    for table in _NAMED:
        names = renamed.get(table, {})
        entries = (rewritten(entry, renamed) for entry in getattr(rig, table))
        tables[table] = tuple(entry._replace(name=names.get(entry.name, entry.name)) for entry in entries)
    shapes, poses = (tuple(rewritten(entry, renamed) for entry in entries) for entries in (rig.shapes, rig.poses))
    return rig._replace(**tables, shapes=shapes, poses=poses)
