"""Poses of a character: made from plain data, from arrays, from strengths and turns, and read from clips."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from plica.api.character import Character, FilePath, counted_errors, posed_rig
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.diagnostics.place import counted
from plica.diagnostics.suggest import did_you_mean
from plica.errors import ArrayError, UnknownNameError, UnreachablePoseError
from plica.evaluate.poses import Array, Poses, SparsePose, poses_from, rest_poses, sparse_pose
from plica.rig.rig import Rig
from plica.rig.surfaces import JointPose, StrengthPose
from plica.skeleton.algebra import Vector

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

PlainPose = Mapping[str, Mapping[str, Any]]
"""One pose as plain data, as in a build's vectors: `{"joints": {"jaw": {"rotation": [x, y, z, w], "translation":
[x, y, z], "scale": [x, y, z]}}, "controls": {"sniff": 1.0}}`. All are optional; what is left out is at rest. Rotations,
translations and scales are local to the parent, as in glTF 2.0; metres."""
PosesLike = Poses | PlainPose | Sequence[PlainPose]
"""Whatever stands for poses: arrays, one plain pose, or a plain pose for each frame."""
Turn = tuple[str | Sequence[float], float]
"""An axis of the joint at rest (`"x"`, `"y"`, `"z"`, or a direction of three numbers) and an angle in radians."""

SHOWN: Final = 8
"""Names in a message, the others are counted."""
_AXES: Mapping[str, Vector] = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}


@dataclass(frozen=True, eq=False, repr=False)
class ClipPoses:
    """The motion of one clip, carried over to a character. times (frames,): seconds, rising."""

    name: str
    times: Array
    poses: Poses

    @property
    def frames(self) -> int:
        """The number of frames."""
        return len(self.times)

    def __repr__(self) -> str:
        seconds = float(self.times[-1] - self.times[0]) if self.frames else 0.0
        return f"<ClipPoses {self.name!r}: {self.frames} frames, {seconds:.2f} s, {len(self.poses.joints)} joints>"


@dataclass(frozen=True, repr=False)
class ClipFile:
    """What a file of motion holds, in its order. diagnostics: why it cannot be read, and joints that did not match."""

    file: str
    clips: tuple[ClipPoses, ...]
    diagnostics: tuple[Diagnostic, ...]

    @property
    def ok(self) -> bool:
        """Whether the file could be read."""
        return bool(self.clips) and not any(one.severity is Severity.ERROR for one in self.diagnostics)

    def __repr__(self) -> str:
        return f"<ClipFile {self.file!r}: {counted(len(self.clips), 'clip')}, {counted_errors(self.diagnostics)}>"


def pose(
    character: Character,
    *,
    strengths: Mapping[str, float] | None = None,
    turns: Mapping[str, Turn | Sequence[Turn]] | None = None,
    controls: Mapping[str, float] | None = None,
) -> Poses:
    """One pose: the neutral one, changed so that strengths have these amounts and joints are turned.

    strengths: amounts by output name; the joints are posed so that each is reached to 1e-6. turns: by joint, a turn or
    several that are made one after the other about axes of the joint at rest. controls: values by name.

    Raises NoRigError, UnknownNameError, ArrayError, and UnreachablePoseError where no pose gives these strengths.
    """
    rig = posed_rig(character)
    strengths, turns, controls = strengths or {}, turns or {}, controls or {}
    check_names("strength", strengths, character.strengths)
    check_names("joint", turns, character.joints)
    items: list[StrengthPose | JointPose] = [
        StrengthPose(name, _number(name, amount)) for name, amount in strengths.items()
    ]
    for joint, given in turns.items():
        items += [JointPose(joint, _axis(joint, axis), _number(joint, angle)) for axis, angle in _turns(given)]
    made = solved_pose(rig, items)
    check_names("control", controls, character.controls)
    values = made.controls.copy()
    for name, value in controls.items():
        values[0, made.control_names.index(name)] = _number(name, value)
    return replace(made, controls=values)


def solved_pose(rig: Rig, items: Iterable[StrengthPose | JointPose]) -> Poses:
    """One frame in which strengths have their amounts and joints are turned as items say.

    Raises UnreachablePoseError where no pose does that.
    """
    from plica.mesh.pose_solver import PoseSolver

    solved, diagnostics = PoseSolver(rig).pose(tuple(items)), Diagnostics()
    for problem in solved.problems:
        diagnostics.add_filled(problem.rule, None, problem.values)
    errors = [one.message for one in diagnostics.all if one.severity is Severity.ERROR]
    if errors:
        raise UnreachablePoseError("; ".join(errors))
    return solved.poses


def poses_from_arrays(
    character: Character,
    *,
    rotations: ArrayLike | None = None,
    translations: ArrayLike | None = None,
    scales: ArrayLike | None = None,
    joints: Sequence[str] | None = None,
    controls: Mapping[str, ArrayLike] | None = None,
) -> Poses:
    """Poses of many frames from arrays.

    joints: the names of the arrays' joints, default: all of the character's, in its order. rotations (frames, joints,
    4): x y z w, local to the parent, of any length; translations (frames, joints, 3): metres, local to the parent;
    scales (frames, joints, 3): along the joint's own axes, as in glTF 2.0; controls: values (frames,) by name. What is
    left out is at rest. One of the arrays at least must be there.

    Raises NoRigError, UnknownNameError, and ArrayError for other shapes and for values that are not finite.
    """
    rig = posed_rig(character)
    names = character.joints if joints is None else tuple(joints)
    check_names("joint", names, character.joints)
    check_names("control", controls or {}, character.controls)
    values = {name: _array(f"the control {name}", value) for name, value in (controls or {}).items()}
    given: dict[str, tuple[Array, tuple[int, ...]]] = {f"the control {name}": (one, ()) for name, one in values.items()}
    if rotations is not None:
        given["rotations"] = (_array("rotations", rotations), (len(names), 4))
    if translations is not None:
        given["translations"] = (_array("translations", translations), (len(names), 3))
    if scales is not None:
        given["scales"] = (_array("scales", scales), (len(names), 3))
    frames = _frames(given)
    rest = rest_poses(rig, frames)
    columns = [rest.joints.index(name) for name in names]
    for name, value in values.items():
        rest.controls[:, rest.control_names.index(name)] = value
    turned = given["rotations"][0] if rotations is not None else rest.rotations[:, columns]
    moved = given["translations"][0] if translations is not None else rest.translations[:, columns]
    scaled = given["scales"][0] if scales is not None else None
    return Poses(names, turned, moved, rest.control_names, rest.controls, scaled)


def read_clips(character: Character, path: FilePath) -> ClipFile:
    """The clips of a glTF 2.0, OpenUSD or BVH file as poses of the character; its aliases apply.

    They are at the clips' key times, and 24 times a second where these are further apart, unless the format is BVH.

    A file that cannot be read is a diagnostic of the result. Raises NoRigError.
    """
    from plica.evaluate.retarget import poses_from_clip
    from plica.readers.clip_reader import find_clips

    rig, diagnostics = posed_rig(character), Diagnostics()
    shown = Path(path).as_posix()
    result = find_clips(Path(path), shown, None, diagnostics)
    clips = tuple(ClipPoses(clip.name, clip.times, poses_from_clip(rig, clip, diagnostics)) for clip in result)
    return ClipFile(shown, clips, diagnostics.all)


def as_poses(character: Character, given: PosesLike) -> Poses:
    """Whatever stands for poses as arrays, its names checked.

    Raises NoRigError, UnknownNameError, ArrayError.
    """
    rig = posed_rig(character)
    if isinstance(given, Poses):
        check_names("joint", given.joints, character.joints)
        check_names("control", given.control_names, character.controls)
        return given
    plain = [given] if isinstance(given, Mapping) else list(given)
    sparse = [_sparse(one) for one in plain]
    for one in sparse:
        check_names("joint", one.joints, character.joints)
        check_names("control", one.controls, character.controls)
    try:
        return poses_from(rig, sparse)
    except ValueError as error:
        raise ArrayError(str(error)) from None


def check_names(what: str, names: Iterable[str], known: Sequence[str]) -> None:
    """Raises UnknownNameError for the first name that is not known, with the nearest one that is."""
    having = frozenset(known)
    for name in names:
        if name not in having:
            hint = _of_both_sides(str(name), having) or did_you_mean(str(name), known)
            more = f"; {hint}" if hint else f"; it has {listed(known)}" if known else "; it has none"
            raise UnknownNameError(f"the character has no {what} `{name}`{more}")


def _of_both_sides(name: str, known: frozenset[str]) -> str | None:
    """A hint for the name of a declaration that stands for both sides."""
    sides = [f"{side}_{name}" for side in ("left", "right") if f"{side}_{name}" in known]
    return f"did you mean {' or '.join(f'`{one}`' for one in sides)}?" if sides else None


def listed(names: Sequence[str]) -> str:
    """Some names, the others counted."""
    more = len(names) - SHOWN
    return ", ".join(names[:SHOWN]) + (f" and {more} more" if more > 0 else "")


def _sparse(given: object) -> SparsePose:
    if not isinstance(given, Mapping):
        raise ArrayError(f"a pose is a mapping with `joints` and `controls`, not {type(given).__name__}")
    unknown = sorted(set(given) - {"joints", "controls"})
    if unknown:
        raise ArrayError(f"a pose has `joints` and `controls`, and no `{unknown[0]}`; put joints under `joints`")
    try:
        return sparse_pose(given.get("joints") or {}, given.get("controls"))
    except (ValueError, TypeError, AttributeError) as error:
        raise ArrayError(str(error)) from None


def _turns(given: Turn | Sequence[Turn]) -> Sequence[Turn]:
    if len(given) == 2 and isinstance(given[1], int | float):
        return [given]  # type: ignore[list-item]
    return given  # type: ignore[return-value]


def _axis(joint: str, axis: str | Sequence[float]) -> Vector:
    if isinstance(axis, str):
        if axis not in _AXES:
            raise UnknownNameError(f"`{axis}` is no axis of `{joint}`; give x, y, z, or a direction of three numbers")
        return _AXES[axis]
    values = _array(f"the axis of {joint}", axis)
    size = float(np.linalg.norm(values))
    if values.shape != (3,) or size == 0.0:
        raise ArrayError(f"the axis of {joint} must be x, y, z, or three numbers that are not all 0")
    x, y, z = (values / size).tolist()
    return (x, y, z)


def _number(name: str, value: float) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = float("nan")
    if not np.isfinite(number):
        raise ArrayError(f"the value of `{name}` must be a finite number, not {value!r}")
    return number


def _array(name: str, values: ArrayLike) -> Array:
    try:
        result = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise ArrayError(f"{name} must be numbers in rows of equal length") from None
    if not np.isfinite(result).all():
        raise ArrayError(f"{name} must be finite numbers")
    return result


def _frames(given: Mapping[str, tuple[Array, tuple[int, ...]]]) -> int:
    """How many frames all arrays have. Raises ArrayError where shapes are wrong."""
    if not given:
        raise ArrayError("give rotations, translations, scales or controls; for the pose at rest there is `plica.pose`")
    counts = {}
    for name, (values, width) in given.items():
        if values.ndim != len(width) + 1 or values.shape[1:] != width:
            shape = ", ".join(("frames", *map(str, width)))
            raise ArrayError(f"{name} must have the shape ({shape}{'' if width else ','}), not {values.shape}")
        counts[name] = len(values)
    if len(set(counts.values())) > 1:
        listed = ", ".join(f"{name} {count}" for name, count in counts.items())
        raise ArrayError(f"the arrays must have the same number of frames: {listed}")
    return next(iter(counts.values()))
