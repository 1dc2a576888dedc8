"""The pose that a sculpt was made in: from what a spec says to poses of all joints and controls."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import isfinite
from typing import NamedTuple

import numpy as np

from plica.evaluate.evaluator import Evaluator, strengths_of
from plica.evaluate.inverse_curves import share_of
from plica.evaluate.inverse_readings import ReadingInverter, rounded
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.poses import JointPlacement, Poses, SparsePose, poses_from
from plica.kinds.combinations import combination_kind
from plica.kinds.readings import seen
from plica.mesh.arrays import Floats
from plica.quantities import number
from plica.rig.parts import least_part_of_rig, made_of
from plica.rig.rig import Rig
from plica.rig.strengths import Combination, Combine, Control, Driver, Sample, StrengthOf
from plica.rig.surfaces import JointPose, StrengthPose
from plica.skeleton.algebra import Vector, about, add, conjugate, multiply, normalised, subtract
from plica.skeleton.skeleton import Skeleton

# How near a strength must come to what was asked for.
TOLERANCE = 1e-6
# Readings of one joint disturb each other; correcting each by its own error settles in a few rounds or never.
_ROUNDS = 60
SETTLED = 1e-12


@dataclass(frozen=True)
class PoseProblem:
    """Why a pose cannot be made: a rule of the catalogue and what its texts leave open."""

    rule: str
    values: Mapping[str, str]


@dataclass(frozen=True, eq=False)
class SculptPose:
    """What of the rig is away from rest, and what stands in the way.

    A strength that cannot be posed has no part in it.
    """

    rig: Rig
    pose: SparsePose
    problems: tuple[PoseProblem, ...]

    @cached_property
    def poses(self) -> Poses:
        """One frame with every joint and control of the rig."""
        return poses_from(self.rig, [self.pose])


class _Part(NamedTuple):
    """What is needed of a rig for some of its strengths."""

    rig: Rig
    evaluator: Evaluator
    joints: frozenset[str]

    def poses(self, pose: SparsePose) -> Poses:
        """A pose of the whole rig, as far as the strengths depend on it."""
        held = {name: placement for name, placement in pose.joints.items() if name in self.joints}
        return poses_from(self.rig, [SparsePose(held, pose.controls)])


class PoseSolver:
    """Makes sculpts' poses of one rig."""

    def __init__(self, rig: Rig) -> None:
        """Raises ValueError where the rig refers to something that it does not have."""
        self._rig = rig
        self._skeleton = skeleton_of(rig)
        self._placer = ReadingInverter(rig, self._skeleton)
        Evaluator(rig)  # which says what is wrong with the rig
        self._strengths = {strength.name: strength for strength in rig.strengths}
        self._places = {strength.name: place for place, strength in enumerate(rig.strengths)}
        self._needed: dict[frozenset[str], _Part] = {}
        self._samples = {
            (field.name, sample.name): (seen(field), sample.rotation)
            for field in rig.fields
            for sample in field.samples
        }

    def pose(self, items: Sequence[StrengthPose | JointPose]) -> SculptPose:
        """The pose in which each joint is turned and each strength has its amount as the items say.

        A driver's amount goes back through its curve (`plica.evaluate.inverse_curves`) and span to the reading, which
        is posed by the joint that is read. A sample of a field can be posed at 1 (its own pose), a product and a least
        at 1 (all parts at 1), and everything at 0 that is 0 at rest. Several turns of one joint are made one after the
        other, each about axes that stay put, and the drivers' readings are then corrected until all are what they
        should be.

        Raises ValueError for joints and strengths that the rig does not have.
        """
        fixed: list[SparsePose] = []
        wanted: dict[str, float] = {}
        problems: list[PoseProblem] = []
        for item in items:
            if isinstance(item, JointPose):
                if item.joint not in self._skeleton.index:
                    raise ValueError(f"the rig has no joint {item.joint}")
                fixed.append(self._placer.turned(item.joint, about(item.axis, item.angle)))
                continue
            for part in self._parts(item.strength, item.amount):
                if isinstance(part, SparsePose):
                    fixed.append(part)
                elif isinstance(part, PoseProblem):
                    problems.append(part)
                else:
                    wanted[part.strength] = part.amount
        pose, unreached = self._driven(fixed, wanted)
        problems += unreached
        failed = {problem.values["strength"] for problem in problems}
        problems += self._missed(pose, [item for item in items if isinstance(item, StrengthPose)], failed)
        return SculptPose(self._rig, pose, tuple(problems))

    def strength(self, pose: SparsePose, name: str) -> float:
        """What a strength is in a pose. Raises ValueError as `poses_from` does."""
        part = self._part_of([name])
        return float(part.evaluator.strengths(part.poses(pose))[0, part.evaluator.names.index(name)])

    def _parts(self, name: str, amount: float) -> Iterator[StrengthPose | SparsePose | PoseProblem]:
        """What has to be posed for a strength: drivers, ready poses, or why it cannot be."""
        if name not in self._strengths:
            raise ValueError(f"the rig has no strength {name}")
        strength = self._strengths[name]
        if isinstance(strength, Driver):
            yield StrengthPose(name, amount)
        elif isinstance(strength, Sample) and amount == 1:
            yield self._placer.turned_as_seen(*self._samples[strength.field, strength.sample])
        elif isinstance(strength, Combine) and amount == 1 and _needs_all(strength.combination):
            for part in strengths_of(strength.combination):
                yield from self._parts(part, 1.0)
        elif amount != 0:
            yield _not_posable(strength, amount)

    def _driven(self, fixed: Sequence[SparsePose], wanted: Mapping[str, float]) -> tuple[SparsePose, list[PoseProblem]]:
        """The ready poses with drivers brought to their amounts."""
        targets: dict[str, float] = {}
        problems = []
        for name, amount in wanted.items():
            driver = self._strengths[name]
            assert isinstance(driver, Driver)
            share = share_of(driver.curve, amount, driver.clamped)
            reading = None if share is None else driver.span[0] + share * (driver.span[1] - driver.span[0])
            if reading is None or self._placer.pose(driver.reading, reading) is None:
                problems.append(_not_reached(name, amount))
            else:
                targets[name] = reading
        return self._settled(fixed, wanted, targets), problems

    def _settled(
        self, fixed: Sequence[SparsePose], wanted: Mapping[str, float], targets: Mapping[str, float]
    ) -> SparsePose:
        """Poses one reading after the other, each by what it lacks, until none lacks anything.

        Of the poses on the way, the one that has all strengths counts, and of several the one nearest to the targets:
        a clamped driver may have its strength beyond its target.
        """
        part = self._part_of(targets)
        columns = [part.evaluator.driver_names.index(name) for name in targets]
        rows = [part.evaluator.names.index(name) for name in targets]
        goals = np.array(list(targets.values()), dtype=np.float64)
        amounts = np.array([wanted[name] for name in targets], dtype=np.float64)
        asked = np.zeros(len(targets))
        best, nearest = composed(self._rig, self._skeleton, fixed), (True, np.inf)
        lacking = goals - part.evaluator.readings(part.poses(best))[0, columns]
        for step in range(_ROUNDS * len(targets)):
            one = step % len(targets)
            asked[one] += lacking[one]
            pose = self._composed(fixed, targets, asked)
            if pose is None:
                break
            poses = part.poses(pose)
            lacking = goals - part.evaluator.readings(poses)[0, columns]
            misses = part.evaluator.strengths(poses)[0, rows] - amounts
            result = (bool((np.abs(misses) > TOLERANCE).any()), float(np.abs(lacking).max()))
            if result < nearest:
                best, nearest = pose, result
            if result[1] <= SETTLED:
                break
        return best

    def _part_of(self, names: Iterable[str]) -> _Part:
        """What is needed for some strengths: rigs have hundreds, a pose names a few."""
        wanted = frozenset(made_of(self._strengths, names))
        if wanted not in self._needed:
            in_order = [self._strengths[name] for name in sorted(wanted, key=self._places.__getitem__)]
            rig = least_part_of_rig(self._rig, in_order)
            self._needed[wanted] = _Part(rig, Evaluator(rig), frozenset(joint.name for joint in rig.skeleton))
        return self._needed[wanted]

    def _composed(self, fixed: Sequence[SparsePose], names: Iterable[str], readings: Floats) -> SparsePose | None:
        poses = list(fixed)
        for name, reading in zip(names, readings.tolist(), strict=True):
            driver = self._strengths[name]
            assert isinstance(driver, Driver)
            pose = self._placer.pose(driver.reading, reading) if isfinite(reading) else None
            if pose is None:
                return None
            poses.append(pose)
        return composed(self._rig, self._skeleton, poses)

    def _missed(self, pose: SparsePose, items: Sequence[StrengthPose], failed: set[str]) -> Iterator[PoseProblem]:
        """Strengths that the finished pose does not give."""
        if not items:
            return
        part = self._part_of([item.strength for item in items])
        given = part.evaluator.strengths(part.poses(pose))[0].tolist()
        result = dict(zip(part.evaluator.names, given, strict=True))
        for item in items:
            strength = self._strengths[item.strength]
            parts = made_of(self._strengths, [item.strength])
            if parts.isdisjoint(failed) and not abs(result[item.strength] - item.amount) <= TOLERANCE:
                if len(items) == 1 and isinstance(strength, Driver):
                    yield _not_reached(item.strength, item.amount)
                else:
                    reached = number(result[item.strength], 3)
                    yield PoseProblem(
                        "pose-contradicts-itself",
                        {"strength": item.strength, "amount": number(item.amount), "reached": reached},
                    )


def composed(rig: Rig, skeleton: Skeleton, poses: Sequence[SparsePose]) -> SparsePose:
    """One pose from several: turns since rest one after the other about axes that stay put, moves added up, and scales
    since rest multiplied."""
    controls = {control.name: control for control in rig.controls}
    placements: dict[str, JointPlacement] = {}
    values: dict[str, float] = {}
    for pose in poses:
        for name, placement in pose.joints.items():
            placements[name] = _after(skeleton, name, placements.get(name, JointPlacement()), placement)
        for name, value in pose.controls.items():
            values[name] = _moved(controls[name], values.get(name), value)
    return SparsePose(placements, values)


def _after(skeleton: Skeleton, name: str, before: JointPlacement, then: JointPlacement) -> JointPlacement:
    joint = skeleton.joints[skeleton.index[name]]
    rotation, translation = then.rotation or before.rotation, then.translation or before.translation
    if before.rotation is not None and then.rotation is not None:
        turn = multiply(then.rotation, multiply(conjugate(joint.rotation), before.rotation))
        a, b, c, d = map(rounded, normalised(turn))
        rotation = (a, b, c, d)
    if before.translation is not None and then.translation is not None:
        x, y, z = map(rounded, add(before.translation, subtract(then.translation, joint.translation)))
        translation = (x, y, z)
    return JointPlacement(rotation, translation, _scale_after(joint.scale, before.scale, then.scale))


def _scale_after(rest: Vector, before: Vector | None, then: Vector | None) -> Vector | None:
    if before is None or then is None:
        return then or before
    x, y, z = (rounded(one * (other / own if own else 1.0)) for own, one, other in zip(rest, before, then, strict=True))
    return (x, y, z)


def _moved(control: Control, before: float | None, then: float) -> float:
    return then if before is None else rounded(before + then - control.rest)


def _needs_all(combination: Combination) -> bool:
    """Whether it is 1 only where all of its parts are."""
    if not combination_kind(combination.how).needs_all:
        return False
    return all(isinstance(part, StrengthOf) or _needs_all(part) for part in combination.parts)


def _not_posable(strength: Driver | Combine | Sample, amount: float) -> PoseProblem:
    how = f"the {strength.combination.how} of others" if isinstance(strength, Combine) else "a sample of a field"
    return PoseProblem("strength-not-posable", {"strength": strength.name, "amount": number(amount), "how": how})


def _not_reached(name: str, amount: float) -> PoseProblem:
    return PoseProblem("amount-not-reached", {"strength": name, "amount": number(amount)})
