"""What moves in a page: the skeleton, what takes each strength from off to on, mirrored poses, and clips."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import pi
from typing import Final

import numpy as np

from plica.evaluate.inverse_readings import ReadingInverter, solved
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.pose_mirror import control_partners
from plica.evaluate.poses import Array, Poses, plain_pose, rest_poses, rest_scales
from plica.kinds.readings import AXES, Reading, controls_of, kind_of, seen
from plica.prove.sweeps import PoseTrack
from plica.rig.rig import Rig
from plica.rig.strengths import Driver, Sample
from plica.sheet.array_pack import ArrayPack
from plica.sheet.record import ClipData, ControlData, JointData, TravelData
from plica.skeleton.algebra import about, determinant, product, times, transpose, unit
from plica.skeleton.skeleton import Skeleton

STEPS: Final = 9
"""Poses along the way of a strength; between them the page goes on a straight way, or turns evenly."""
BEYOND: Final = 0.15
"""How far past its span a strength can be moved, as a share of it."""
_STILL: Final = 1e-9
"""A joint that a clip moves by less is at rest."""
_ROTATION_STEPS: Final = 32767.0


def joints_data(rig: Rig) -> tuple[JointData, ...]:
    """The skeleton, and what each joint's motion becomes on the other side."""
    skeleton = skeleton_of(rig)
    numbers = {joint.name: number for number, joint in enumerate(rig.skeleton)}
    result = []
    for joint in rig.skeleton:
        partner = joint.name if joint.side == "none" else joint.partner
        turn, move = (None, None) if partner is None else _across(rig, skeleton, joint.name, partner)
        result.append(
            JointData(
                joint.name,
                -1 if joint.parent is None else numbers[joint.parent],
                tuple(joint.neutral.translation),
                tuple(joint.neutral.rotation),
                tuple(joint.neutral.scale),
                -1 if turn is None or partner is None else numbers[partner],
                turn or (),
                move or (),
            )
        )
    return tuple(result)


def _across(
    rig: Rig, skeleton: Skeleton, name: str, partner: str
) -> tuple[tuple[float, ...] | None, tuple[float, ...] | None]:
    """The two matrices of `plica.evaluate.pose_mirror`, which has the mathematics; None without a mirror plane."""
    if rig.symmetry is None:
        return None, None
    own, other = skeleton.index[name], skeleton.index[partner]
    reflection = rig.symmetry.plane.reflection
    frames = product(product(transpose(skeleton.orientation(other)), reflection), skeleton.orientation(own))
    factor = determinant(frames)
    turn = tuple(part * factor for row in frames for part in row)
    steps = []
    for axis in AXES.values():
        mirrored = times(reflection, times(skeleton.parent_frame(own).linear, axis))
        steps.append(solved(skeleton.parent_frame(other).linear, mirrored) or (0.0, 0.0, 0.0))
    return turn, tuple(part for row in zip(*steps, strict=True) for part in row)


def controls_data(rig: Rig) -> tuple[ControlData, ...]:
    """The controls, the weights of the model's own morph targets among them."""
    numbers = {control.name: number for number, control in enumerate(rig.controls)}
    partners = control_partners(rig)
    return tuple(
        ControlData(
            one.name, one.range, one.rest, -1 if partners[one.name] is None else numbers[partners[one.name] or ""]
        )
        for one in rig.controls
    )


class StrengthTravels:
    """Makes the way of each strength of one rig."""

    def __init__(self, rig: Rig) -> None:
        self._placer = ReadingInverter(rig, skeleton_of(rig))
        self._controls = {control.name: control for control in rig.controls}
        self._turns = {
            (field.name, sample.name): (seen(field), sample.rotation)
            for field in rig.fields
            for sample in field.samples
        }

    def range_of(self, driver: Driver) -> tuple[float, float]:
        """The readings over which a driver is shown: rest, its span and a little more, as far as the reading goes."""
        ends = (0.0, *driver.span)
        more = BEYOND * (max(ends) - min(ends))
        low, high = min(ends) - more, max(ends) + more
        least, greatest = self._reach(driver.reading)
        return max(low, least), min(high, greatest)

    def _reach(self, reading: Reading) -> tuple[float, float]:
        held = [self._controls[name] for name in controls_of(reading)]
        if held:
            return held[0].range[0] - held[0].rest, held[0].range[1] - held[0].rest
        reach = kind_of(reading).reach
        return (-np.inf, np.inf) if reach is None else (reach.least, reach.greatest)

    def of_driver(self, driver: Driver) -> TravelData | None:
        """The poses with readings over the range; None where no pose has them."""
        low, high = self.range_of(driver)
        values = sorted({0.0 if low < 0.0 < high else low, *np.linspace(low, high, STEPS).tolist()})
        # Half a turn has two ways back; just before it there is one.
        values = [
            min(max(value, -pi + 1e-6), pi - 1e-6) if kind_of(driver.reading).reach else value for value in values
        ]
        posed = [(value, self._placer.pose(driver.reading, value)) for value in values]
        kept = [(value, plain_pose(pose)) for value, pose in posed if pose is not None]
        if len(kept) < 2:
            return None
        return TravelData(tuple(value for value, _ in kept), tuple(pose for _, pose in kept))

    def of_sample(self, sample: Sample) -> TravelData:
        """The poses from rest to the sample, by the share of the way."""
        one, (x, y, z, w) = self._turns[sample.field, sample.sample]
        size = float(np.sqrt(x * x + y * y + z * z))
        angle, axis = 2.0 * float(np.arctan2(size, w)), unit((x, y, z)) if size > 0.0 else AXES["x"]
        places = np.linspace(0.0, 1.0 + BEYOND, STEPS).tolist()
        poses = [plain_pose(self._placer.turned_as_seen(one, about(axis, place * angle))) for place in places]
        return TravelData(tuple(places), tuple(poses))


def pack_clips(rig: Rig, tracks: Iterable[PoseTrack], pack: ArrayPack) -> tuple[ClipData, ...]:
    """Add clips to a pack."""
    return tuple(_packed(rig, track, f"clip {number}", pack) for number, track in enumerate(tracks))


def _packed(rig: Rig, track: PoseTrack, name: str, pack: ArrayPack) -> ClipData:
    poses, rest = track.poses, rest_poses(rig)
    places = [rest.joints.index(joint) for joint in poses.joints]
    order = np.array(places, dtype=np.int64)
    rotations = _even(poses.rotations, rest.rotations[0, order])
    turned = _moving(rotations - rest.rotations[0, order], poses.joints)
    moved = _moving(poses.translations - rest.translations[0, order], poses.joints)
    scales = (
        np.broadcast_to(rest_scales(rig)[:, order], poses.translations.shape) if poses.scales is None else poses.scales
    )
    scaled = _moving(scales - rest_scales(rig)[0, order], poses.joints)
    controls = _controls(poses, rest)
    pack.add(
        f"{name} turns", np.rint(rotations[:, turned].reshape(len(rotations), -1) * _ROTATION_STEPS).astype(np.int16)
    )
    pack.add(f"{name} moves", poses.translations[:, moved].reshape(len(rotations), -1).astype(np.float32))
    pack.add(f"{name} scales", scales[:, scaled].reshape(len(rotations), -1).astype(np.float32))
    pack.add(f"{name} controls", poses.controls[:, controls].astype(np.float32))
    return ClipData(
        track.name,
        tuple(float(place) for place in track.places),
        tuple(places[joint] for joint in turned),
        tuple(places[joint] for joint in moved),
        tuple(places[joint] for joint in scaled),
        tuple(rest.control_names.index(poses.control_names[column]) for column in controls),
        name,
    )


def _even(rotations: Array, rest: Array) -> Array:
    """Unit quaternions of which each is near the one before it and the first near rest; null ones are at rest."""
    size = np.linalg.norm(rotations, axis=2, keepdims=True)
    result = np.where(size > 0.0, rotations / np.where(size > 0.0, size, 1.0), rest)
    before = rest
    for frame in result:
        frame[(frame * before).sum(axis=1) < 0.0] *= -1.0
        before = frame
    return np.asarray(result)


def _moving(steps: Array, joints: Sequence[str]) -> list[int]:
    moving = np.abs(steps).max(axis=(0, 2), initial=0.0) > _STILL
    return [number for number in range(len(joints)) if moving[number]]


def _controls(poses: Poses, rest: Poses) -> list[int]:
    still = [rest.controls[0, rest.control_names.index(name)] for name in poses.control_names]
    return [column for column, value in enumerate(still) if (np.abs(poses.controls[:, column] - value) > _STILL).any()]
