"""Poses over which the strengths of two rigs are compared: the motion that either of them reads, and beyond."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from random import Random
from typing import Final, NamedTuple

import numpy as np

from plica.diff.motion_range import motion_range
from plica.diff.random_poses import RANDOM_POSES, RigMoves, random_poses, rig_moves
from plica.evaluate.inverse_readings import ReadingInverter, rounded
from plica.evaluate.pose_mirror import PoseMirror
from plica.evaluate.pose_packs import Pack, Setting, joined, packed
from plica.evaluate.pose_table import PoseTable, table_of
from plica.evaluate.poses import JointPlacement, SparsePose
from plica.kinds.curves import curve_knots
from plica.kinds.reading_kind import Needs
from plica.kinds.readings import AXES, Reading, kind_of, seen
from plica.mesh.pose_solver import PoseSolver
from plica.rig.rig import Rig, RigJoint
from plica.rig.strengths import Control, Driver
from plica.rig.surfaces import JointPose, StrengthPose
from plica.skeleton.algebra import about

PoseItem = StrengthPose | JointPose

# Figures of our own.
_STEPS, _BETWEEN = 32, 2
_MIXED, _SEED = 24, 41_000
_FURTHER: Final = (0.5, -0.25, 1.25)
_SHARES: Final = (0.0, 1.0, *_FURTHER)


def declared_items(rig: Rig) -> Iterator[tuple[PoseItem, ...]]:
    """What the declared poses of a rig and the poses of its sculpts say."""
    yield from (pose.items for pose in rig.poses)
    yield from (sculpt.pose for shape in rig.shapes for sculpt in shape.sculpts if sculpt.pose)


class CommonPoses(NamedTuple):
    """Poses that two rigs can take, and how many there would be had none been left out."""

    table: PoseTable
    possible: int


def common_poses(old: Rig, new: Rig, declared: Sequence[tuple[PoseItem, ...]], most: int) -> CommonPoses:
    """Poses that both rigs can take; the first is the rest pose, each rig's own.

    Every driver of either goes over the whole reach of its reading, or beyond both ends of its span; several at once
    at random; joints that are read are turned, moved and scaled at random; and the poses that are declared; all of
    these mirrored as well, so that both sides are told the same. Of the poses for single readings and those declared at
    most `most` are kept, evenly. Raises ValueError as `Evaluator` does.
    """
    both = [rig_moves(rig) for rig in (old, new)]
    single = [joined(pack) for pack in packed(_settings(both))]
    for moves in both:
        single += _declared(moves.rig, declared)
    kept = [single[number * len(single) // most] for number in range(most)] if len(single) > most else single
    poses = [SparsePose(), *_at_rest(old), *_at_rest(new), *kept]
    source = Random(_SEED)
    for moves in both:
        poses += [_mixed(source, moves, (share,)) for share in _SHARES]  # a product changes most where all parts do
        poses += [_mixed(source, moves) for _ in range(_MIXED)]
    joints, controls = _in_both(old.skeleton, new.skeleton), _in_both(old.controls, new.controls)
    common = table_of(poses, joints, controls)
    anywhere = np.random.default_rng(_SEED)
    for moves in both:
        for kind in RANDOM_POSES:
            common = common.followed_by(random_poses(anywhere, kind, moves, joints, controls))
    common, left_out = common.usable(), len(single) - len(kept)
    if new.symmetry is not None:
        mirror = PoseMirror(new, both[1].placer.skeleton, new.symmetry)
        common, left_out = common.followed_by(mirror.table(common).usable()), 2 * left_out
    return CommonPoses(common, common.frames + left_out)


def _in_both(old: Iterable[RigJoint | Control], new: Iterable[RigJoint | Control]) -> list[str]:
    """The names that two tables have in common, in the order of the later one."""
    known = {one.name for one in old}
    return [one.name for one in new if one.name in known]


def _exact_readings(driver: Driver) -> list[float]:
    """The readings at both ends of a driver's span and at the knots of its curve."""
    start, stop = driver.span
    return [start + (stop - start) * share for share in (0.0, *curve_knots(driver.curve), 1.0)]


def _settings(both: Sequence[RigMoves]) -> Iterator[Setting]:
    """A pose for every reading that is tried; one of both rigs, where they stand alike, once."""
    old, new = (moves.rig for moves in both)
    alike = old.skeleton == new.skeleton and old.controls == new.controls
    shared: dict[Reading, set[float]] = {}
    for moves in both:
        yield from _settings_of(moves, shared if alike else {})


def _settings_of(moves: RigMoves, known: dict[Reading, set[float]]) -> Iterator[Setting]:
    """The settings of one rig but those that are `known`, which are added to it."""
    placer = moves.placer
    for driver, needs in moves.drivers:
        had = known.setdefault(driver.reading, set())  # drivers share readings
        for value in _tried_readings(driver):
            if value not in had:
                had.add(value)
                yield from (Setting(pose, needs) for pose in _with_reading(placer, driver.reading, value))
    for field in moves.rig.fields:
        for sample in field.samples[1:]:
            yield Setting(placer.turned_as_seen(seen(field), sample.rotation), placer.looked_at(seen(field)))
    for control in moves.rig.controls:
        low, high = control.range
        for value in (low, high, 2 * low - high, 2 * high - low):
            yield Setting(SparsePose({}, {control.name: rounded(value)}), frozenset())


def _tried_readings(driver: Driver) -> Iterator[float]:
    """The exact readings, some between each two of them, and steps over all that the reading can be."""
    exact = sorted({0.0, *_exact_readings(driver)})
    yield from exact
    start, stop = driver.span
    yield from (start + (stop - start) * share for share in _FURTHER)
    for start, stop in pairwise(exact):
        yield from (start + (stop - start) * part / (_BETWEEN + 1) for part in range(1, _BETWEEN + 1))
    low, high = motion_range(kind_of(driver.reading).reach, exact)
    yield from (low + (high - low) * step / _STEPS for step in range(_STEPS + 1))


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
    drivers = {one.name for one in rig.strengths if isinstance(one, Driver)}
    solver = None
    for items in dict.fromkeys(declared):
        kept = [
            one for one in items if (one.strength in known if isinstance(one, StrengthPose) else one.joint in joints)
        ]
        if kept and not _is_end_of_span(kept, drivers):
            solver = solver or PoseSolver(rig)
            yield solver.pose(kept).pose


def _is_end_of_span(items: Sequence[PoseItem], drivers: set[str]) -> bool:
    """Whether a pose is one driver at an end of its span, as most sculpts' are: `_settings` has that already."""
    only = items[0] if len(items) == 1 else None
    return isinstance(only, StrengthPose) and only.strength in drivers and only.amount in (0.0, 1.0)


def _mixed(source: Random, moves: RigMoves, shares: Sequence[float] = ()) -> SparsePose:
    """Every driver at one of some shares of its span, or at any, as far as they do not spoil one another."""
    pack = Pack()
    for driver, needs in source.sample(moves.drivers, len(moves.drivers)):
        if needs and not pack.takes(frozenset(), needs):
            continue  # nothing that turns what it reads goes in any more
        share = source.choice(shares or (*_SHARES, source.random()))
        value = driver.span[0] + share * (driver.span[1] - driver.span[0])
        poses = list(_with_reading(moves.placer, driver.reading, value))
        if poses:
            pack.add_if_fit(Setting(source.choice(poses), needs))
    return joined(pack.settings)
