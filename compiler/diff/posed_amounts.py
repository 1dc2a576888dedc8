"""Strengths in the poses of sculpts: those of poses that move different joints are evaluated together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from math import isfinite
from typing import Final, NamedTuple

from plica.evaluate import Evaluator
from plica.evaluate.inverse_curves import share_of
from plica.evaluate.inverse_readings import ReadingInverter
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.pose_packs import Setting, joined, packed
from plica.evaluate.pose_table import poses_of
from plica.evaluate.poses import SparsePose
from plica.kinds.readings import controls_of, seen
from plica.mesh.pose_solver import SETTLED, TOLERANCE, PoseSolver
from plica.rig.parts import least_part_of_rig, made_of
from plica.rig.rig import Rig
from plica.rig.strengths import Driver, Sample, Strength
from plica.rig.surfaces import JointPose, StrengthPose

Items = tuple[StrengthPose | JointPose, ...]
Asked = tuple[Items, str]
"""What a pose says, and a strength."""
_AT_ONCE: Final = 64  # poses whose strengths are evaluated together
_ROUNDS: Final = 4  # of corrections, after which the solver looks


def posed_amounts(rig: Rig, asked: Sequence[Asked]) -> dict[Asked, float | None]:
    """What each strength is in its pose; None where the pose cannot be made.

    Raises ValueError as `PoseSolver` does.
    """
    return _Amounts(rig).of(asked)


class _Single(NamedTuple):
    """A pose that says the amount of one driver alone: the reading that gives it, and that for which the pose is made,
    which is corrected by what is lacking as `PoseSolver` does it.
    """

    asked: Asked
    driver: Driver
    reading: float
    posed: float
    setting: Setting

    @property
    def amount(self) -> float:
        return float(self.asked[0][0][-1])


class _Amounts:
    """Finds them for one rig."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._placer = ReadingInverter(rig, skeleton_of(rig))
        self._strengths = {strength.name: strength for strength in rig.strengths}
        self._places = {strength.name: place for place, strength in enumerate(rig.strengths)}
        self._fields = {field.name: field for field in rig.fields}

    @cached_property
    def _solver(self) -> PoseSolver:
        return PoseSolver(self._rig)

    def of(self, asked: Sequence[Asked]) -> dict[Asked, float | None]:
        """Those of single drivers together, as far as they come out; all others one by one."""
        found: dict[Asked, float | None] = dict(self._together(asked))
        for one in asked:
            if one not in found:
                made = self._solver.pose(one[0])
                # In no pose that is known: building says so.
                found[one] = None if made.problems else self._solver.strength(made.pose, one[1])
        return found

    def _together(self, asked: Sequence[Asked]) -> Iterator[tuple[Asked, float]]:
        waiting = [one for one in map(self._single, asked) if one is not None]
        for _ in range(_ROUNDS):
            singles = {id(one.setting): one for one in waiting}
            packs = packed(one.setting for one in waiting)
            waiting = []
            for start in range(0, len(packs), _AT_ONCE):
                some = [[singles[id(setting)] for setting in pack] for pack in packs[start : start + _AT_ONCE]]
                for one, lacking, amount in self._evaluated(some):
                    if amount is not None:
                        yield one.asked, amount
                    elif (corrected := self._posed(one._replace(posed=one.posed + lacking))) is not None:
                        waiting.append(corrected)

    def _single(self, asked: Asked) -> _Single | None:
        """The pose of one driver."""
        items, strength = asked
        item = items[0]
        driver = self._strengths.get(item.strength) if isinstance(item, StrengthPose) else None
        if len(items) > 1 or not isinstance(driver, Driver):
            return None
        share = share_of(driver.curve, item[-1], driver.clamped)
        if share is None:
            return None
        reading = driver.span[0] + share * (driver.span[1] - driver.span[0])
        nothing = Setting(SparsePose(), self._needs(driver.name, strength))
        return self._posed(_Single(asked, driver, reading, reading, nothing))

    def _posed(self, single: _Single) -> _Single | None:
        """With the pose for the reading that is posed; None where there is none."""
        pose = self._placer.pose(single.driver.reading, single.posed) if isfinite(single.posed) else None
        return None if pose is None else single._replace(setting=Setting(pose, single.setting.needs))

    def _needs(self, *names: str) -> frozenset[str]:
        """The joints and controls that some strengths depend on."""
        needs: set[str] = set()
        for strength in map(self._strengths.__getitem__, made_of(self._strengths, names)):
            if isinstance(strength, Driver):
                needs |= self._placer.needed(strength.reading)
                needs.update(f"control {name}" for name in controls_of(strength.reading))
            elif isinstance(strength, Sample):
                needs |= self._placer.looked_at(seen(self._fields[strength.field]))
        return frozenset(needs)

    def _evaluated(self, packs: Sequence[Sequence[_Single]]) -> Iterator[tuple[_Single, float, float | None]]:
        """Of each pose what its reading lacks, and the strength that is asked for where nothing is amiss."""
        named = {name for pack in packs for one in pack for name in (one.driver.name, one.asked[1])}
        in_order: list[Strength] = [
            self._strengths[name] for name in sorted(made_of(self._strengths, named), key=self._places.__getitem__)
        ]
        part = least_part_of_rig(self._rig, in_order)
        evaluator = Evaluator(part)
        poses = poses_of(part, [joined(one.setting for one in pack) for pack in packs])
        strengths, readings = evaluator.strengths(poses), evaluator.readings(poses)
        row = {name: number for number, name in enumerate(evaluator.names)}
        read = {name: number for number, name in enumerate(evaluator.driver_names)}
        for number, pack in enumerate(packs):
            for one in pack:
                lacking = float(one.reading - readings[number, read[one.driver.name]])
                misses = abs(strengths[number, row[one.driver.name]] - one.amount)
                is_right = abs(lacking) <= SETTLED and misses <= TOLERANCE
                yield one, lacking, float(strengths[number, row[one.asked[1]]]) if is_right else None
