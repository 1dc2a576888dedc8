"""Poses of a rig with the strengths they must give: an export carries them as its proof.

Deterministic: the same rig gives the same poses and strengths.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random

from plica.evaluate.evaluator import Evaluator
from plica.evaluate.inverse_readings import ReadingInverter, rounded
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.pose_mirror import PoseMirror
from plica.evaluate.pose_packs import Setting, joined, packed
from plica.evaluate.poses import JointPlacement, SparsePose, poses_from
from plica.evaluate.steadiness import moved_by_shaking
from plica.kinds.curves import curve_knots
from plica.kinds.reading_kind import Needs
from plica.kinds.readings import kind_of, seen
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from plica.skeleton.algebra import about, scaled, unit
from plica.units import Dimension

FEWEST = 64
_FEWEST_RANDOM = 16
_SEED = 20_000
_BEYOND = 0.25
_SCALES = (0.7, 1.4)  # of random poses, times those at rest
# Strengths are given to this many decimals: less than machines differ by, more than any tolerance.
_DECIMALS = 12
# Where a strength moves by more when a pose is shaken by a hundred roundings, rounding (2e-16) could move it by 2e-12:
# the pose sits on an edge, or a span is shorter than a tenth of a millimetre.
_LIMIT = 1e-10


@dataclass(frozen=True)
class Example:
    """A pose and the strength of every driver, sample and combination in it, in the rig's order."""

    pose: SparsePose
    strengths: Mapping[str, float]


def vectors(rig: Rig) -> list[Example]:
    """At least 64 poses: rest; every driver at, between and beyond the ends of its span and at its curve's
    knots; field samples; controls at both ends; all of these mirrored; and seeded random poses.

    Poses of different joints are packed together. Poses where a strength hangs on the last bits (gimbal
    lock, twist at 180 degrees of swing) are left out, the rest pose never. Raises ValueError as `Evaluator`
    does.
    """
    evaluator = Evaluator(rig)
    skeleton = skeleton_of(rig)
    placer = ReadingInverter(rig, skeleton)
    made = _steady_packs(rig, evaluator, placer)
    if rig.symmetry is not None:
        mirror = PoseMirror(rig, skeleton, rig.symmetry)
        made += [mirror.pose(pose) for pose in made]
    chosen = _steady(rig, evaluator, made)
    # A rig that hangs on the last bits everywhere must not keep us here for ever.
    source = _random_poses(rig, placer)
    wanted = max(_FEWEST_RANDOM, FEWEST - 1 - len(chosen))
    result: list[SparsePose] = []
    for _ in range(8):
        if len(result) >= wanted:
            break
        result += _steady(rig, evaluator, [next(source) for _ in range(wanted)])
    poses = [SparsePose(), *chosen, *result[:wanted]]
    strengths = evaluator.strengths(poses_from(rig, poses))
    return [
        Example(pose, {name: _written(value) for name, value in zip(evaluator.names, row, strict=True)})
        for pose, row in zip(poses, strengths.tolist(), strict=True)
    ]


def _written(value: float) -> float:
    return round(value, _DECIMALS) + 0.0


# ---- poses for single readings ----------------------------------------------------------------------------


def _steady_packs(rig: Rig, evaluator: Evaluator, placer: ReadingInverter) -> list[SparsePose]:
    """The settings, packed. A pack that hangs on the last bits is halved until the culprit is alone."""
    settings = [_setting(placer, driver, share) for driver, share in dict.fromkeys(_wanted(rig))]
    packs = packed([*(setting for setting in settings if setting is not None), *_other_settings(rig, placer)])
    result: list[SparsePose] = []
    while packs:
        poses = [joined(pack) for pack in packs]
        steady = _are_steady(rig, evaluator, poses)
        result += [pose for pose, good in zip(poses, steady, strict=True) if good]
        packs = [half for pack, good in zip(packs, steady, strict=True) if not good for half in _halves(pack)]
    return result


def _halves(pack: Sequence[Setting]) -> list[list[Setting]]:
    middle = len(pack) // 2
    if middle:
        return [list(pack[:middle]), list(pack[middle:])]
    return [] if pack[0].instead is None else [[pack[0].instead]]


def _wanted(rig: Rig) -> Iterator[tuple[Driver, float]]:
    for driver in rig.strengths:
        if isinstance(driver, Driver):
            for share in (-_BEYOND, 0.0, *curve_knots(driver.curve), 0.5, 1.0, 1.0 + _BEYOND):
                yield driver, share


def _setting(placer: ReadingInverter, driver: Driver, share: float) -> Setting | None:
    start, end = driver.span
    needs = placer.needed(driver.reading)
    # The second share is a little further inside the span.
    pose, instead = (
        placer.pose(driver.reading, start + value * (end - start)) for value in (share, share + 0.02 * (0.45 - share))
    )
    if pose is None:
        return None
    return Setting(pose, needs, None if instead is None else Setting(instead, needs))


def _other_settings(rig: Rig, placer: ReadingInverter) -> Iterator[Setting]:
    for field in rig.fields:
        for sample in field.samples[1:]:
            yield Setting(placer.turned_as_seen(seen(field), sample.rotation), placer.looked_at(seen(field)))
    for control in rig.controls:
        for end in control.range:
            yield Setting(SparsePose({}, {control.name: rounded(end)}), frozenset())


# ---- random poses ------------------------------------------------------------------------------------------


def _random_poses(rig: Rig, placer: ReadingInverter) -> Iterator[SparsePose]:
    """Half of the joints that are read, turned, moved and, where that is read, scaled at random. Every eighth pose has
    rotations of other lengths and the other sign, which must not matter."""
    random = Random(_SEED)
    reach, scaled = _reach(rig, placer), _scaled(rig, placer)
    number = 0
    while True:
        number += 1
        joints = {}
        for name in sorted(reach):
            if random.random() < 0.5:
                joints[name] = _random_placement(random, placer, name, reach[name], number % 8 == 0)
                if name in scaled:
                    x, y, z = (random.uniform(*_SCALES) for _ in range(3))
                    joints[name] = replace(joints[name], scale=placer.scaled(name, (x, y, z)).joints[name].scale)
        controls = {control.name: rounded(random.uniform(*control.range)) for control in rig.controls}
        yield SparsePose(joints, controls)


def _reach(rig: Rig, placer: ReadingInverter) -> dict[str, float]:
    """How far (metres) each joint that is read may be moved; 0 where only its rotation matters."""
    reach = {name: 0.0 for field in rig.fields for name in placer.looked_at(seen(field))}
    for driver in rig.strengths:
        if isinstance(driver, Driver):
            far = max(map(abs, driver.span)) if kind_of(driver.reading).dimension is Dimension.LENGTH else 0.0
            for name in placer.needed(driver.reading):
                reach[name] = max(reach.get(name, 0.0), far)
    return reach


def _scaled(rig: Rig, placer: ReadingInverter) -> frozenset[str]:
    """The joints whose scale a reading depends on."""
    readings = (driver.reading for driver in rig.strengths if isinstance(driver, Driver))
    return frozenset(
        name
        for reading in readings
        if kind_of(reading).needs in (Needs.SCALE, Needs.CHAIN)
        for name in placer.needed(reading)
    )


def _random_placement(random: Random, placer: ReadingInverter, name: str, reach: float, odd: bool) -> JointPlacement:
    axis = unit((random.gauss(0, 1), random.gauss(0, 1), random.gauss(0, 1)))
    rotation = placer.turned(name, about(axis, random.uniform(0.05, 1.8))).joints[name].rotation
    if rotation is not None and odd:
        x, y, z, w = (rounded(-1.25 * part) for part in rotation)
        rotation = (x, y, z, w)
    if reach == 0:
        return JointPlacement(rotation)
    direction = unit((random.gauss(0, 1), random.gauss(0, 1), random.gauss(0, 1)))
    moved = placer.moved(name, scaled(direction, random.uniform(0, 1.2 * reach))).joints[name]
    return JointPlacement(rotation, moved.translation)


# ---- poses that hang on the last bits ----------------------------------------------------------------------


def _steady(rig: Rig, evaluator: Evaluator, poses: Sequence[SparsePose]) -> list[SparsePose]:
    kept = _are_steady(rig, evaluator, poses)
    return [pose for pose, good in zip(poses, kept, strict=True) if good]


def _are_steady(rig: Rig, evaluator: Evaluator, sparse: Sequence[SparsePose]) -> list[bool]:
    """Which poses keep all strengths where they are when everything moves by much more than rounding."""
    moved = moved_by_shaking(evaluator, poses_from(rig, sparse)).max(axis=1, initial=0.0)
    return [bool(value <= _LIMIT) for value in moved]
