"""Wren's skeleton: joint names, places and rest frames.

On the left side each frame is laid out by one rule: own y runs along the bone, and the turns of `HINGES` are
positive. On the right side the places mirror exactly, but many frames are turned by odd angles, as skeletons
from real studios are, so that whoever mirrors a motion has to compute it from the frames.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from types import MappingProxyType
from typing import Final

import numpy as np

from plica.picture.directions import Floats, Integers, across, unit
from plica.specs.wren import otter
from plica.specs.wren.limbs import arm_frames, fingers, toes
from plica.specs.wren.vectors import MIRROR, rotation_about

LEFT_SUFFIX: Final = "_lf"
RIGHT_SUFFIX: Final = "_rt"

HINGES: Final[Mapping[str, tuple[str, float]]] = MappingProxyType(
    {
        "lowerarm": ("x", 130.0),
        "lowerleg": ("x", 120.0),
        "paw": ("z", 70.0),
        "foot": ("x", 35.0),
        "toes": ("x", 50.0),
        **{f"{digit.name}_{number}": ("z", 80.0) for digit in otter.FINGERS for number in (1, 2, 3)},
    }
)
"""Own hinge axis and largest flexion in degrees, from rest, of each left joint that is a hinge."""

# Name without suffix: axis and degrees of the odd turn of the right joint's rest frame.
_ODD_TURNS: Final[Mapping[str, tuple[otter.Point, float]]] = MappingProxyType(
    {
        "collar": ((0.3, 1.0, -0.2), 23.0),
        "upperarm": ((1.0, 0.4, 0.7), 37.0),
        "lowerarm": ((-0.5, 0.9, 0.3), 41.0),
        "paw": ((0.2, -0.6, 1.0), 29.0),
        "index_1": ((1.0, -0.3, 0.5), 19.0),
        "index_2": ((0.1, 1.0, 0.6), 33.0),
        "middle_1": ((-0.7, 0.2, 1.0), 50.0),
        "middle_3": ((0.6, 0.6, -1.0), 27.0),
        "ring_1": ((0.4, 1.0, -0.8), 44.0),
        "ring_2": ((1.0, 0.1, 0.2), 17.0),
        "little_1": ((-0.3, -1.0, 0.5), 31.0),
        "little_3": ((0.9, -0.5, 0.4), 22.0),
        "upperleg": ((0.5, 0.8, 0.9), 35.0),
        "lowerleg": ((1.0, -0.8, 0.3), 47.0),
        "foot": ((0.2, 0.3, 1.0), 26.0),
        "browpad": ((0.7, -0.4, 0.6), 39.0),
        "whiskerpad": ((-0.4, 0.9, 0.8), 21.0),
    }
)
# Right frames without an odd turn still differ from the plain reflection: half of them point their y
# backwards.
_BACKWARDS: Final = frozenset({"toes", "ear", "index_3", "middle_2"})


@dataclass(frozen=True)
class RestJoint:
    """One joint at rest: its place (3,) in metres and the rotation (3, 3) whose columns are its own axes."""

    name: str
    parent: str | None
    place: Floats
    frame: Floats

    @property
    def matrix(self) -> Floats:
        """The (4, 4) transform from the joint's own space to model space."""
        matrix = np.eye(4)
        matrix[:3, :3] = self.frame
        matrix[:3, 3] = self.place
        return matrix


@dataclass(frozen=True)
class WrenSkeleton:
    """Joints with every parent before its children."""

    joints: tuple[RestJoint, ...]

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Joint names in order."""
        return tuple(joint.name for joint in self.joints)

    @cached_property
    def number(self) -> Mapping[str, int]:
        """The position of each joint name in `joints`."""
        return MappingProxyType({name: index for index, name in enumerate(self.names)})

    @cached_property
    def parents(self) -> tuple[int, ...]:
        """Each joint's parent as a position in `joints`, -1 for the root."""
        return tuple(-1 if joint.parent is None else self.number[joint.parent] for joint in self.joints)

    @cached_property
    def rest(self) -> Floats:
        """Model-space rest transforms, (joints, 4, 4)."""
        return np.stack([joint.matrix for joint in self.joints])

    @cached_property
    def local_rest(self) -> Floats:
        """Rest transforms relative to the parent joint, (joints, 4, 4)."""
        local = self.rest.copy()
        for index, parent in enumerate(self.parents):
            if parent >= 0:
                local[index] = np.linalg.inv(self.rest[parent]) @ self.rest[index]
        return local

    @cached_property
    def partners(self) -> Integers:
        """For each joint the joint on the other side (itself in the middle), (joints,)."""
        return np.array([self.number[other_side(name)] for name in self.names], dtype=np.int64)

    def __getitem__(self, name: str) -> RestJoint:
        return self.joints[self.number[name]]


def other_side(name: str) -> str:
    """The name of the joint's mirror partner; a joint in the middle is its own."""
    if name.endswith(LEFT_SUFFIX):
        return name.removesuffix(LEFT_SUFFIX) + RIGHT_SUFFIX
    if name.endswith(RIGHT_SUFFIX):
        return name.removesuffix(RIGHT_SUFFIX) + LEFT_SUFFIX
    return name


def _frame(along: Floats | otter.Point, toward: Floats | otter.Point) -> Floats:
    """Own y along the bone, own z as near `toward` as possible, own x to complete a right-handed frame."""
    y = unit(along)
    z = across(toward, y)
    return np.column_stack([np.cross(y, z), y, z])


def _digit_frame(axis: Floats, dorsal: Floats) -> Floats:
    """Own y along the digit and own x to its upper side: a positive turn about own z then curls it."""
    return np.column_stack([dorsal, axis, np.cross(dorsal, axis)])


def _point(x: float, y: float, z: float) -> Floats:
    return np.array([x, y, z])


_FRONT: Final[otter.Point] = (0.0, 0.0, 1.0)
_BACK: Final[otter.Point] = (0.0, 0.0, -1.0)
_UP: Final[otter.Point] = (0.0, 1.0, 0.0)


def _middle() -> list[RestJoint]:
    chain = (
        ("hips", "root", _point(0.0, 0.290, -0.020)),
        ("spine_1", "hips", _point(0.0, 0.372, -0.008)),
        ("spine_2", "spine_1", _point(0.0, 0.470, 0.000)),
        ("spine_3", "spine_2", _point(0.0, 0.570, -0.004)),
        ("neck", "spine_3", _point(0.0, 0.715, 0.000)),
        ("head", "neck", _point(0.0, 0.805, 0.022)),
    )
    ends = [place for _, _, place in chain[1:]] + [_point(0.0, 0.925, 0.052)]
    joints = [RestJoint("root", None, _point(0.0, 0.0, 0.0), np.eye(3))]
    for (name, parent, place), end in zip(chain, ends, strict=True):
        joints.append(RestJoint(name, parent, place, _frame(end - place, _FRONT)))
    jaw = _frame(_FRONT, (0.0, -1.0, 0.0))
    joints.append(RestJoint("jaw", "head", _point(0.0, 0.836, 0.082), jaw))
    return joints


def tail_places() -> tuple[Floats, ...]:
    """The seven ends of the six tail joints, from the rump to the tip."""
    rings = otter.BODY[::-1]
    first = next(index for index, ring in enumerate(rings) if ring.z <= -0.16)
    line = np.array([(0.0, ring.y, ring.z) for ring in rings[first:]])
    lengths = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    stops = np.linspace(0.0, lengths[-1], 7)
    return tuple(np.array([0.0, *(np.interp(stop, lengths, line[:, k]) for k in (1, 2))]) for stop in stops)


def _tail() -> list[RestJoint]:
    places = tail_places()
    return [
        RestJoint(
            f"tail_{number}",
            "hips" if number == 1 else f"tail_{number - 1}",
            places[number - 1],
            _frame(places[number] - places[number - 1], _UP),
        )
        for number in range(1, 7)
    ]


def _arm() -> list[RestJoint]:
    shoulder, elbow, wrist, knuckles = (np.asarray(station) for station in otter.ARM_STATIONS)
    collar = _point(0.028, 0.690, 0.018)
    paw_dorsal = across(arm_frames()[-3].dorsal, unit(knuckles - wrist))
    joints = [
        RestJoint("collar", "spine_3", collar, _frame(shoulder - collar, _FRONT)),
        RestJoint("upperarm", "collar", shoulder, _frame(elbow - shoulder, _FRONT)),
        RestJoint("lowerarm", "upperarm", elbow, _frame(wrist - elbow, _FRONT)),
        RestJoint("paw", "lowerarm", wrist, _digit_frame(unit(knuckles - wrist), paw_dorsal)),
    ]
    for path in reversed(fingers()):
        for number, frame in enumerate(path.frames, start=1):
            parent = "paw" if number == 1 else f"{path.name}_{number - 1}"
            joints.append(
                RestJoint(f"{path.name}_{number}", parent, frame.center, _digit_frame(frame.axis, frame.dorsal))
            )
    return joints


def _leg() -> list[RestJoint]:
    hip, knee, ankle, ball = (np.asarray(station) for station in otter.LEG_STATIONS)
    tip = np.mean([path.points[-1] for path in toes()], axis=0)
    return [
        RestJoint("upperleg", "hips", hip, _frame(knee - hip, _FRONT)),
        RestJoint("lowerleg", "upperleg", knee, _frame(ankle - knee, _BACK)),
        RestJoint("foot", "lowerleg", ankle, _frame(ball - ankle, _UP)),
        RestJoint("toes", "foot", ball, _frame(tip - ball, _UP)),
    ]


def _face() -> list[RestJoint]:
    return [
        RestJoint("browpad", "head", np.asarray(otter.BROW_PAD), _frame((0.0, 0.86, 0.0), (0.35, 0.2, 0.9))),
        RestJoint("whiskerpad", "head", np.asarray(otter.WHISKER_PAD), _frame((0.0, 1.0, 0.0), (0.7, 0.0, 0.7))),
        RestJoint("ear", "head", np.asarray(otter.EAR_ROOT), _frame(otter.EAR_AXIS, otter.EAR_FRONT)),
    ]


def mirrored_frame(frame: Floats) -> Floats:
    """The reflection of a (3, 3) rest frame that stays a rotation: own x keeps facing the reflected way."""
    return MIRROR @ frame @ MIRROR


def _right(joint: RestJoint) -> RestJoint:
    frame = mirrored_frame(joint.frame)
    if joint.name in _ODD_TURNS:
        axis, degrees = _ODD_TURNS[joint.name]
        frame = frame @ rotation_about(axis, degrees)
    elif joint.name in _BACKWARDS:
        frame = frame @ np.diag([1.0, -1.0, -1.0])
    return RestJoint(joint.name, joint.parent, MIRROR @ joint.place, frame)


def _suffixed(joint: RestJoint, own: frozenset[str], suffix: str) -> RestJoint:
    parent = joint.parent + suffix if joint.parent in own else joint.parent
    return RestJoint(joint.name + suffix, parent, joint.place + 0.0, joint.frame)


@lru_cache(maxsize=1)
def wren_skeleton() -> WrenSkeleton:
    """The 60 joints of Wren at rest, which is also the pose the skin is bound in."""
    left = [*_arm(), *_leg(), *_face()]
    own = frozenset(joint.name for joint in left)
    sides = [_suffixed(joint, own, LEFT_SUFFIX) for joint in left]
    sides += [_suffixed(_right(joint), own, RIGHT_SUFFIX) for joint in left]
    return WrenSkeleton((*_middle(), *sides, *_tail()))
