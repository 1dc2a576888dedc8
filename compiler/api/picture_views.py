"""What a picture shows: poses, and words for each of them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np

from plica.api.character import Character, FilePath, posed_rig, rig_of
from plica.api.posing import PosesLike, as_poses, check_names, read_clips
from plica.api.sculpting import Asked
from plica.errors import PlicaError
from plica.evaluate.poses import Poses
from plica.mesh.arrays import Integers
from plica.prove.quantities import unit_of_driver
from plica.prove.sweeps import Sweeper
from plica.quantities import measured, number
from plica.rig.strengths import Driver


class PosedViews(NamedTuple):
    """Poses, words for each, whether they are moments of one motion, and whether that ends where it began or is to go
    back there."""

    poses: Poses
    words: tuple[str, ...]
    many: bool
    back: bool = False


class AskedViews:
    """The poses that are asked for, and words for each."""

    def __init__(self, character: Character, frames: int) -> None:
        self._character, self._rig, self._frames = character, rig_of(character), frames

    def views(
        self, one_pose: Mapping[str, str | None], clip: FilePath | None, time: float | None,
        poses: PosesLike | None, sweep: str | None,
    ) -> PosedViews:  # fmt: skip
        """Of all that is given, which must be one."""
        given = [one for one in (*one_pose.values(), clip, poses, sweep) if one is not None]
        if len(given) > 1:
            raise PlicaError("one thing can be shown at a time: `at`, `pose`, `clip`, `worst`, `poses` or `sweep`")
        if sweep is not None:
            return self._swept(sweep)
        if clip is not None and time is None:
            return self._clip(clip)
        if poses is not None:
            return self._poses(as_poses(self._character, poses))
        asked = Asked(self._character, self._rig)
        if clip is not None:
            made, words = asked.moment(clip, time or 0.0)
        else:
            ways = {"at": asked.at, "pose": asked.declared, "worst": asked.worst}
            made, words = next((ways[way](text) for way, text in one_pose.items() if text is not None), asked.rest())
        return PosedViews(made, (words,), False)

    def _poses(self, poses: Poses) -> PosedViews:
        words = tuple(f"frame {number} of {poses.frames}" for number in range(1, poses.frames + 1))
        if poses.frames > self._frames:
            chosen = np.unique(np.linspace(0, poses.frames - 1, self._frames).round().astype(int))
            poses, words = _picked(poses, chosen), tuple(words[number] for number in chosen)
        return PosedViews(poses, words, poses.frames > 1)

    def _clip(self, clip: FilePath) -> PosedViews:
        read = read_clips(self._character, clip)
        if not read.ok or not read.clips[0].frames:
            raise PlicaError(next((one.message for one in read.diagnostics), f"{read.file} holds no motion"))
        motion = read.clips[0]
        wanted = np.linspace(motion.times[0], motion.times[-1], self._frames)
        chosen = np.unique(np.abs(motion.times[None] - wanted[:, None]).argmin(axis=1))
        words = tuple(f"{Path(read.file).name} at {number(float(motion.times[one]), 4)} s" for one in chosen)
        return PosedViews(_picked(motion.poses, chosen), words, len(words) > 1)

    def _swept(self, name: str) -> PosedViews:
        """From rest to where a strength's span ends; words say the strength there, and of a driver what it reads."""
        strengths = {one.declared: one for one in reversed(self._rig.strengths)}
        strengths |= {one.name: one for one in self._rig.strengths}
        check_names("strength", [name], list(strengths))
        strength = strengths[name]
        track = Sweeper(posed_rig(self._character)).sweep(strength.name)
        assert track.between is not None
        poses = track.between(np.linspace(0.0, 1.0, self._frames))
        evaluator = self._character.evaluator
        column = evaluator.names.index(strength.name)
        values = evaluator.strengths(poses)[:, column].tolist()
        words = [f"{strength.name} {value:.2f}" for value in values]
        if isinstance(strength, Driver):
            unit = unit_of_driver(strength, None)
            read = evaluator.readings(poses)[:, evaluator.driver_names.index(strength.name)].tolist()
            words = [f"{said}: {measured(one, unit)}" for said, one in zip(words, read, strict=True)]
        return PosedViews(poses, tuple(words), True, back=True)


def _picked(poses: Poses, frames: Integers) -> Poses:
    """Some frames of poses."""
    scales = None if poses.scales is None else poses.scales[frames]
    return Poses(
        poses.joints,
        poses.rotations[frames],
        poses.translations[frames],
        poses.control_names,
        poses.controls[frames],
        scales,
    )
