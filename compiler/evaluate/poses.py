"""Poses: what every joint and every control does in each frame."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from operator import index
from typing import Any, SupportsIndex

import numpy as np
from numpy.typing import ArrayLike, NDArray

from plica.diagnostics.place import counted
from plica.errors import ArrayError
from plica.rig.rig import Rig
from plica.skeleton.algebra import Quaternion, Vector

Array = NDArray[np.float64]

# Readings take fourth powers of quaternions; this is far beyond any file's single precision numbers.
LARGEST = 1e50


@dataclass(frozen=True, eq=False, repr=False)
class Poses:
    """Local rotations, translations and scales of joints, and values of controls, in each frame.

    rotations: (frames, joints, 4), x y z w, of any length (readings do not depend on it; a null quaternion
    reads as the rest pose); translations: (frames, joints, 3) metres, in the joint's parent; controls:
    (frames, controls); scales: (frames, joints, 3) along the joint's own axes (the S of T R S, glTF 2.0 section 3.5.3),
    None where every joint has its scale at rest. Joints and controls that are not named are at rest. Raises ArrayError
    (a ValueError) where shapes or numbers of frames do not match, where a name comes twice, and where a value is not
    finite or beyond 1e50.
    """

    joints: tuple[str, ...]
    rotations: Array
    translations: Array
    control_names: tuple[str, ...]
    controls: Array
    scales: Array | None = None

    def __post_init__(self) -> None:
        for name, width in (
            ("rotations", (len(self.joints), 4)),
            ("translations", (len(self.joints), 3)),
            ("controls", (len(self.control_names),)),
            ("scales", (len(self.joints), 3)),
        ):
            given = getattr(self, name)
            if given is None:
                continue
            values = np.asarray(given, dtype=np.float64)
            if values.shape[1:] != width or values.ndim != len(width) + 1:
                raise ArrayError(
                    f"{name} must have the shape (frames, {', '.join(map(str, width))}), not {values.shape}"
                )
            if not (np.abs(values) <= LARGEST).all():
                raise ArrayError(f"{name} must be finite numbers of at most {LARGEST:g}")
            object.__setattr__(self, name, values)
        scaled = self.frames if self.scales is None else len(self.scales)
        if not self.frames == len(self.translations) == len(self.controls) == scaled:
            raise ArrayError("rotations, translations, scales and controls must have the same number of frames")
        _refuse_repeated(self.joints)
        _refuse_repeated(self.control_names)

    @property
    def frames(self) -> int:
        """The number of frames."""
        return len(self.rotations)

    def __repr__(self) -> str:
        counts = ((self.frames, "frame"), (len(self.joints), "joint"), (len(self.control_names), "control"))
        return f"<Poses: {', '.join(counted(number, noun) for number, noun in counts)}>"

    def __getitem__(self, frames: SupportsIndex | slice) -> Poses:
        """One frame, as poses of one frame, or a slice of them. Raises IndexError beyond the last frame."""
        if isinstance(frames, slice):
            part = frames
        else:
            number = range(self.frames)[index(frames)]
            part = slice(number, number + 1)
        return Poses(
            self.joints,
            self.rotations[part],
            self.translations[part],
            self.control_names,
            self.controls[part],
            None if self.scales is None else self.scales[part],
        )


@dataclass(frozen=True)
class JointPlacement:
    """A joint's local rotation (x y z w), translation (metres) and scale in one pose; None is the rest pose's."""

    rotation: Quaternion | None = None
    translation: Vector | None = None
    scale: Vector | None = None


@dataclass(frozen=True)
class SparsePose:
    """One pose, naming only the joints and controls that are away from rest."""

    joints: Mapping[str, JointPlacement] = field(default_factory=dict)
    controls: Mapping[str, float] = field(default_factory=dict)


def file_rest(rig: Rig) -> Poses:
    """The pose in which the model's file rests, one frame with every joint and control."""
    still = rest_poses(rig)
    rotations = np.array([joint.rest.rotation for joint in rig.skeleton], dtype=np.float64).reshape(1, -1, 4)
    translations = np.array([joint.rest.translation for joint in rig.skeleton], dtype=np.float64).reshape(1, -1, 3)
    scales = np.array([joint.rest.scale for joint in rig.skeleton], dtype=np.float64).reshape(1, -1, 3)
    return Poses(still.joints, rotations, translations, still.control_names, still.controls, scales)


def rest_poses(rig: Rig, frames: int = 1) -> Poses:
    """The neutral stance of a rig, `frames` times, with every joint and control; the arrays are writable.

    `scales` is None, which is the scales at rest; `rest_scales` has them as an array.
    """
    rotations = np.array([joint.neutral.rotation for joint in rig.skeleton], dtype=np.float64).reshape(1, -1, 4)
    translations = np.array([joint.neutral.translation for joint in rig.skeleton], dtype=np.float64).reshape(1, -1, 3)
    controls = np.array([control.rest for control in rig.controls], dtype=np.float64).reshape(1, -1)
    return Poses(
        tuple(joint.name for joint in rig.skeleton),
        np.repeat(rotations, frames, axis=0),
        np.repeat(translations, frames, axis=0),
        tuple(control.name for control in rig.controls),
        np.repeat(controls, frames, axis=0),
    )


def rest_scales(rig: Rig, frames: int = 1) -> Array:
    """The scales at rest of all joints of a rig, (frames, joints, 3); writable."""
    scales = np.array([joint.neutral.scale for joint in rig.skeleton], dtype=np.float64).reshape(1, -1, 3)
    return np.repeat(scales, frames, axis=0)


def whole_poses(rig: Rig, poses: Poses) -> Poses:
    """The same poses with every joint of the rig and with scales; what poses leave out is in the neutral stance.

    Rotations are unit quaternions, each of the sign that is nearer the one before, so that the way between two is the
    short one. Controls stay as they are.
    """
    still = rest_poses(rig, poses.frames)
    at = [still.joints.index(joint) for joint in poses.joints]
    rotations, translations, scales = still.rotations, still.translations, rest_scales(rig, poses.frames)
    given = poses.rotations.any(axis=2, keepdims=True)
    rotations[:, at] = np.where(given, poses.rotations, rotations[:, at])
    translations[:, at] = poses.translations
    if poses.scales is not None:
        scales[:, at] = poses.scales
    rotations /= np.linalg.norm(rotations, axis=2, keepdims=True)
    flips = np.cumprod(np.where((rotations[1:] * rotations[:-1]).sum(axis=2) < 0.0, -1.0, 1.0), axis=0)
    rotations[1:] *= flips[..., np.newaxis]
    return Poses(still.joints, rotations, translations, poses.control_names, poses.controls, scales)


def sparse_pose(
    joints: Mapping[str, Mapping[str, Sequence[float]]], controls: Mapping[str, float] | None = None
) -> SparsePose:
    """A sparse pose from plain data: {"elbow": {"rotation": [x, y, z, w], "translation": [x, y, z], "scale":
    [x, y, z]}}, controls.

    Raises ValueError for another key than these three, and for wrong lengths.
    """
    placements = {}
    for name, parts in joints.items():
        unknown = sorted(set(parts) - {"rotation", "translation", "scale"})
        if unknown:
            raise ArrayError(f"joint {name} has no {unknown[0]}; a pose gives its rotation, translation and scale")
        rotation = parts.get("rotation")
        if rotation is not None:
            a, b, c, d = _components(name, "rotation", rotation, 4).tolist()
        placements[name] = JointPlacement(
            None if rotation is None else (a, b, c, d),
            _vector(name, "translation", parts.get("translation")),
            _vector(name, "scale", parts.get("scale")),
        )
    return SparsePose(placements, dict(controls or {}))


def _vector(name: str, part: str, values: ArrayLike | None) -> Vector | None:
    if values is None:
        return None
    x, y, z = _components(name, part, values, 3).tolist()
    return (x, y, z)


def plain_pose(pose: SparsePose) -> dict[str, dict[str, Any]]:
    """A sparse pose as plain data, which `sparse_pose` reads, numbers to their last digit."""
    joints: dict[str, Any] = {}
    for name, placement in pose.joints.items():
        parts = {"rotation": placement.rotation, "translation": placement.translation, "scale": placement.scale}
        joints[name] = {part: list(values) for part, values in parts.items() if values is not None}
    return {"joints": joints, "controls": dict(pose.controls)}


def poses_from(rig: Rig, sparse: Sequence[SparsePose]) -> Poses:
    """Full poses, one frame for each sparse pose, with every joint and control of the rig.

    Raises ValueError for joints and controls that the rig does not have, for values of the wrong length and
    for values that are not finite.
    """
    poses = rest_poses(rig, len(sparse))
    if any(placement.scale is not None for pose in sparse for placement in pose.joints.values()):
        poses = replace(poses, scales=rest_scales(rig, len(sparse)))
    joints = {name: index for index, name in enumerate(poses.joints)}
    controls = {name: index for index, name in enumerate(poses.control_names)}
    for frame, pose in enumerate(sparse):
        for name, placement in pose.joints.items():
            index = _known(joints, name, "joint")
            if placement.rotation is not None:
                poses.rotations[frame, index] = _components(name, "rotation", placement.rotation, 4)
            if placement.translation is not None:
                poses.translations[frame, index] = _components(name, "translation", placement.translation, 3)
            if placement.scale is not None and poses.scales is not None:
                poses.scales[frame, index] = _components(name, "scale", placement.scale, 3)
        for name, value in pose.controls.items():
            poses.controls[frame, _known(controls, name, "control")] = _components(name, "value", [value], 1)[0]
    return poses


def is_finite(pose: SparsePose) -> bool:
    """Whether every number of a pose is one that `Poses` takes."""
    joints = pose.joints.values()
    parts = [part for one in joints for part in (one.rotation, one.translation, one.scale) if part is not None]
    return all(abs(value) <= LARGEST for part in (*parts, tuple(pose.controls.values())) for value in part)


def _known(indexes: Mapping[str, int], name: str, what: str) -> int:
    if name not in indexes:
        raise ValueError(f"the rig has no {what} {name}")
    return indexes[name]


def _components(name: str, part: str, values: ArrayLike, size: int) -> Array:
    result = np.asarray(values, dtype=np.float64)
    if result.shape != (size,) or not (np.abs(result) <= LARGEST).all():
        raise ArrayError(f"the {part} of {name} must be {size} finite number{'s' if size > 1 else ''}")
    return result


def _refuse_repeated(names: Sequence[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise ArrayError(f"{name} is named twice")
        seen.add(name)
