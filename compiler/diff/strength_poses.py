"""Poses over which the strengths of two rigs are compared: the motion that either of them reads, and beyond."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from math import tau
from random import Random
from typing import Final

from plica.diff.motion_range import motion_range
from plica.evaluate.inverse_readings import ReadingInverter, rounded
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.pose_mirror import PoseMirror
from plica.evaluate.pose_packs import Setting, joined, packed
from plica.evaluate.poses import JointPlacement, SparsePose, is_finite
from plica.evaluate.vectors import vectors
from plica.kinds.curves import curve_knots
from plica.kinds.reading_kind import Needs
from plica.kinds.readings import AXES, Reading, kind_of, seen
from plica.mesh.pose_solver import PoseSolver
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from plica.rig.surfaces import JointPose, StrengthPose
from plica.skeleton.algebra import about, normalised, scaled, unit
from plica.units import Dimension

PoseItem = StrengthPose | JointPose

# Figures of our own. `_BEYOND`: how far a joint is moved at random, times the farthest end of a span.
_STEPS, _BETWEEN, _BEYOND = 32, 2, 1.25
_RANDOM, _MIXED, _SEED = 64, 24, 41_000
_SHARES: Final = (0.0, 0.5, 1.0, -0.25, 1.25)
_SCALES: Final = (0.5, 1.6)


def declared_items(rig: Rig) -> Iterator[tuple[PoseItem, ...]]:
    """What the declared poses of a rig and the poses of its sculpts say."""
    yield from (pose.items for pose in rig.poses)
    yield from (sculpt.pose for shape in rig.shapes for sculpt in shape.sculpts if sculpt.pose)


def common_poses(old: Rig, new: Rig, declared: Sequence[tuple[PoseItem, ...]]) -> list[SparsePose]:
    """Poses that both rigs can take; the first is the rest pose, each rig's own.

    Every driver of either goes over the whole reach of its reading, or beyond both ends of its span; several at once
    at random; joints that are read are turned, moved and scaled at random; and the poses of the rigs' vectors and
    those declared; all of these mirrored as well, so that both sides are told the same. Raises ValueError as
    `Evaluator` does.
    """
    placers = [ReadingInverter(rig, skeleton_of(rig)) for rig in (old, new)]
    settings = [one for rig, placer in zip((old, new), placers, strict=True) for one in _settings(rig, placer)]
    poses = [SparsePose(), *_at_rest(old), *_at_rest(new), *map(joined, packed(settings))]
    source = Random(_SEED)
    for rig, placer in zip((old, new), placers, strict=True):
        poses += [example.pose for example in vectors(rig)]
        poses += _declared(rig, declared)
        poses += [_mixed(source, rig, placer) for _ in range(_MIXED)]
        poses += [_random(source, rig, placer) for _ in range(_RANDOM)]
    joints = {one.name for one in old.skeleton} & {one.name for one in new.skeleton}
    controls = {one.name for one in old.controls} & {one.name for one in new.controls}
    common = [_only(pose, joints, controls) for pose in poses if is_finite(pose)]
    if new.symmetry is None:
        return common
    mirror = PoseMirror(new, placers[1].skeleton, new.symmetry)
    mirrored = [_only(mirror.pose(pose), joints, controls) for pose in common]
    return [*common, *(pose for pose in mirrored if is_finite(pose))]


def _only(pose: SparsePose, joints: set[str], controls: set[str]) -> SparsePose:
    return SparsePose(
        {name: placement for name, placement in pose.joints.items() if name in joints},
        {name: value for name, value in pose.controls.items() if name in controls},
    )


def _exact_readings(driver: Driver) -> list[float]:
    """The readings at both ends of a driver's span and at the knots of its curve."""
    start, stop = driver.span
    return [start + (stop - start) * share for share in (0.0, *curve_knots(driver.curve), 1.0)]


def _settings(rig: Rig, placer: ReadingInverter) -> Iterator[Setting]:
    known: set[tuple[Reading, float]] = set()  # of drivers that share a reading
    for driver in _drivers(rig):
        needs = placer.needed(driver.reading)
        exact = sorted({0.0, *_exact_readings(driver)})
        low, high = motion_range(kind_of(driver.reading).reach, exact)
        steps = [low + (high - low) * step / _STEPS for step in range(_STEPS + 1)]
        between = [
            start + (stop - start) * part / (_BETWEEN + 1)
            for start, stop in pairwise(exact)
            for part in range(1, _BETWEEN + 1)
        ]
        for value in (*exact, *between, *steps):
            if (driver.reading, value) in known:
                continue
            known.add((driver.reading, value))
            yield from (Setting(pose, needs) for pose in _with_reading(placer, driver.reading, value))
    for field in rig.fields:
        for sample in field.samples[1:]:
            yield Setting(placer.turned_as_seen(seen(field), sample.rotation), placer.looked_at(seen(field)))
    for control in rig.controls:
        low, high = control.range
        for value in (low, high, 2 * low - high, 2 * high - low):
            yield Setting(SparsePose({}, {control.name: rounded(value)}), frozenset())


def _with_reading(placer: ReadingInverter, reading: Reading, value: float) -> Iterator[SparsePose]:
    """Poses in which a reading has a value: about each axis for an angle that has none of its own."""
    if kind_of(reading).needs is Needs.TURN and kind_of(reading).axis is None:
        turns = (about(axis, way * value) for axis in AXES.values() for way in (1, -1))
        yield from (placer.turned_as_seen(seen(reading), turn) for turn in turns)
    elif (pose := placer.pose(reading, value)) is not None:
        yield pose


def _at_rest(rig: Rig) -> Iterator[SparsePose]:
    """The rest pose of one rig in full, which need not be that of the other."""
    joints = {
        one.name: JointPlacement(one.neutral.rotation, one.neutral.translation, one.neutral.scale)
        for one in rig.skeleton
    }
    yield SparsePose(joints, {control.name: control.rest for control in rig.controls})


def _declared(rig: Rig, declared: Iterable[tuple[PoseItem, ...]]) -> Iterator[SparsePose]:
    known, joints = {one.name for one in rig.strengths}, {one.name for one in rig.skeleton}
    drivers = {one.name for one in _drivers(rig)}
    solver = PoseSolver(rig)
    for items in dict.fromkeys(declared):
        kept = [
            one for one in items if (one.strength in known if isinstance(one, StrengthPose) else one.joint in joints)
        ]
        if kept and not _is_end_of_span(kept, drivers):
            yield solver.pose(kept).pose


def _is_end_of_span(items: Sequence[PoseItem], drivers: set[str]) -> bool:
    """Whether a pose is one driver at an end of its span, as most sculpts' are: `_settings` has that already."""
    only = items[0] if len(items) == 1 else None
    return isinstance(only, StrengthPose) and only.strength in drivers and only.amount in (0.0, 1.0)


def _mixed(source: Random, rig: Rig, placer: ReadingInverter) -> SparsePose:
    """Every driver at a share of its span that is chosen for it, as far as they do not spoil one another."""
    settings = []
    for driver in source.sample(_drivers(rig), len(_drivers(rig))):
        share = source.choice((*_SHARES, source.random()))
        value = driver.span[0] + share * (driver.span[1] - driver.span[0])
        poses = list(_with_reading(placer, driver.reading, value))
        settings += [Setting(source.choice(poses), placer.needed(driver.reading))] if poses else []
    packs = packed(settings)
    return joined(packs[0]) if packs else SparsePose()


def _random(source: Random, rig: Rig, placer: ReadingInverter) -> SparsePose:
    """Most of what is read turned by anything, and moved or scaled where that is read; controls anywhere."""
    joints: dict[str, JointPlacement] = {}
    for name, (far, scales) in _moved(rig, placer).items():
        if source.random() < 0.3:
            continue
        quaternion = normalised((_gauss(source), _gauss(source), _gauss(source), _gauss(source)))
        turned = placer.turned(name, quaternion if source.random() < 0.5 else about(_direction(source), _angle(source)))
        step = scaled(_direction(source), source.uniform(0.0, far))
        factors = (source.uniform(*_SCALES), source.uniform(*_SCALES), source.uniform(*_SCALES))
        joints[name] = JointPlacement(
            turned.joints[name].rotation,
            placer.moved(name, step).joints[name].translation if far else None,
            placer.scaled(name, factors).joints[name].scale if scales else None,
        )
    controls = {one.name: rounded(_about_range(source, *one.range)) for one in rig.controls}
    return SparsePose(joints, controls)


def _moved(rig: Rig, placer: ReadingInverter) -> dict[str, tuple[float, bool]]:
    """The joints that are read: how far each may be moved, and whether it may be scaled."""
    result: dict[str, tuple[float, bool]] = {}
    for field in rig.fields:
        result |= dict.fromkeys(sorted(placer.looked_at(seen(field))), (0.0, False))
    for driver in _drivers(rig):
        kind = kind_of(driver.reading)
        far = _BEYOND * max(map(abs, driver.span)) if kind.dimension is Dimension.LENGTH else 0.0
        for name in sorted(placer.needed(driver.reading)):
            before, scales = result.get(name, (0.0, False))
            result[name] = (max(before, far), scales or kind.needs in (Needs.SCALE, Needs.CHAIN))
    return result


def _drivers(rig: Rig) -> list[Driver]:
    return [strength for strength in rig.strengths if isinstance(strength, Driver)]


def _gauss(source: Random) -> float:
    return source.gauss(0.0, 1.0)


def _direction(source: Random) -> tuple[float, float, float]:
    return unit((_gauss(source), _gauss(source), _gauss(source)))


def _angle(source: Random) -> float:
    return source.uniform(-tau / 2, tau / 2)


def _about_range(source: Random, low: float, high: float) -> float:
    return source.uniform(low - (high - low) / 4, high + (high - low) / 4)
