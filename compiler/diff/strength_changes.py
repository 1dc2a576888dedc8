"""What became of strengths, a batch at a time: both states evaluated on poses that both can take."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from plica.diff.strength_change import NOTHING, StrengthChange
from plica.diff.strength_poses import CommonPoses, common_poses, declared_items
from plica.evaluate import Evaluator
from plica.evaluate.pose_table import PoseTable
from plica.evaluate.poses import Array
from plica.evaluate.steadiness import moved_by_shaking
from plica.kinds.readings import controls_of
from plica.rig.parts import least_part_of_rig, made_of, part_of_rig
from plica.rig.rig import Rig
from plica.rig.strengths import Driver, Strength

# Of a batch, strengths times poses that are made for single readings; and of those poses, however many strengths there
# are. Figures of our own.
_MOST_NUMBERS, _FEWEST = 1 << 22, 64
_NOISE = 100.0  # a change counts where it is so many times what shaking the pose by a hundred roundings does


class StrengthChanges:
    """Computes what became of the strengths of two rigs."""

    def __init__(self, old: Rig, new: Rig) -> None:
        self._rigs = old, new
        self._strengths = [{one.name: one for one in rig.strengths} for rig in self._rigs]
        self._places = [{one.name: place for place, one in enumerate(rig.strengths)} for rig in self._rigs]
        self._declared = tuple(dict.fromkeys((*declared_items(old), *declared_items(new))))

    def of(self, batches: Sequence[Sequence[str]]) -> Iterator[tuple[str, StrengthChange]]:
        """What became of the strengths of some batches; those are left out that cannot be evaluated.

        Each batch has poses of its own, made for what its strengths read and for nothing else.
        """
        for names in batches:
            if len(batches) == 1:
                old, new = (part_of_rig(rig, names) for rig in self._rigs)
            else:
                old, new = (self._least_part(index, names) for index in (0, 1))
            most = max(_FEWEST, _MOST_NUMBERS // max(1, len(new.strengths)))
            try:
                yield from _changes(old, new, names, common_poses(old, new, self._declared, most))
            except ValueError:  # a rig made by hand whose numbers cannot be evaluated
                continue

    def _least_part(self, index: int, names: Iterable[str]) -> Rig:
        """The part of a rig that some strengths are made of, with the joints and controls that they read."""
        strengths, place = self._strengths[index], self._places[index].__getitem__
        in_order = [strengths[name] for name in sorted(made_of(strengths, names), key=place)]
        part = least_part_of_rig(self._rigs[index], in_order)
        read = {one for each in in_order if isinstance(each, Driver) for one in controls_of(each.reading)}
        return part._replace(controls=tuple(one for one in part.controls if one.name in read))


def _changes(old: Rig, new: Rig, names: Iterable[str], poses: CommonPoses) -> Iterator[tuple[str, StrengthChange]]:
    before, after = _Evaluated(old, poses.table), _Evaluated(new, poses.table)
    for name in names:
        if name not in before.columns or name not in after.columns:
            continue
        one, other = before.strength(name), after.strength(name)
        change = np.abs(other - one)
        noise = np.maximum(before.noise(name), after.noise(name))
        if not np.isfinite(change).all() or not np.isfinite(noise).all():
            continue
        change = np.where(change > _NOISE * noise, change, 0.0)
        reading, now, strength = before.reading(name), after.reading(name), before.entry(name)
        index = _worst(change, reading, now)
        at = None if reading is None or now is None else (float(reading[index]), float(now[index]))
        extreme = None
        if isinstance(strength, Driver) and reading is not None:
            extreme = _at_extreme(strength.span, reading, change, one, other)
        rest = float(one[0]), float(other[0])
        compared = poses.table.frames, poses.possible
        yield name, StrengthChange(float(change[index]), at, rest, extreme, *compared)


def _worst(change: Array, *readings: Array | None) -> int:
    """Where the change is largest; of several such poses the one nearest to rest, so that both sides are told alike."""
    worst = np.flatnonzero(change >= change.max() - NOTHING)
    far = sum(np.abs(row[worst]) for row in readings if row is not None)
    return int(worst[np.argmin(np.round(far, 9))])


def _at_extreme(
    span: tuple[float, float], reading: Array, change: Array, one: Array, other: Array
) -> tuple[float, float] | None:
    """Both strengths on that pose at the end of the old span where they differ most."""
    there = np.abs(reading - span[1]) <= 1e-9 * max(1e-12, abs(span[0]), abs(span[1]))
    if not there.any():
        return None
    index = int(np.where(there, change, -1.0).argmax())
    return float(one[index]), float(other[index])


class _Evaluated:
    """A rig evaluated on poses, and how much its strengths hang on the last bits of them."""

    def __init__(self, rig: Rig, table: PoseTable) -> None:
        evaluator = Evaluator(rig)
        poses = table.poses(rig)
        self.columns = {name: column for column, name in enumerate(evaluator.names)}
        self._entries = {strength.name: strength for strength in rig.strengths}
        self._drivers = {name: column for column, name in enumerate(evaluator.driver_names)}
        self._strengths, self._readings = evaluator.strengths(poses), evaluator.readings(poses)
        self._noise = moved_by_shaking(evaluator, poses)

    def entry(self, name: str) -> Strength:
        return self._entries[name]

    def strength(self, name: str) -> Array:
        return self._strengths[:, self.columns[name]]

    def noise(self, name: str) -> Array:
        return self._noise[:, self.columns[name]]

    def reading(self, name: str) -> Array | None:
        return self._readings[:, self._drivers[name]] if name in self._drivers else None
