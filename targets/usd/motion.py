"""Clips as what a SkelAnimation holds: local frames of all joints and the strengths of all shapes, sample by sample."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import Poses, rest_poses, rest_scales
from plica.evaluate.retarget import poses_from_clip
from plica.mesh.arrays import Floats
from plica.mesh.deform import own_morphs
from plica.quantities import percent
from plica.readers.clip_reader import find_clips
from plica.readers.model_outline import distinct
from plica.readers.model_reader import read_outline
from plica.rig.rig import Rig
from plica.targets.usd.skeleton import JointTree
from plica.workspace import Refused, Workspace

SAMPLES_A_SECOND: Final = 60.0
"""A clip that says what happens between its keys is sampled so many times a second, and at its keys."""
_HALF_ERROR: Final = 1e-5
"""By which share a scale in half precision may be off without being told."""


class SampledClip(NamedTuple):
    """A clip: `times` (samples,) seconds; rotations (samples, joints, 4), translations and scales (samples, joints, 3).

    strengths: (samples,) by the name of each blend shape; folds: (samples,) by the name of each fold.
    """

    name: str
    times: Floats
    rotations: Floats
    translations: Floats
    scales: Floats
    strengths: dict[str, Floats]
    folds: dict[str, Floats]


def motions(build: Build, tree: JointTree, files: Sequence[str], diagnostics: Diagnostics) -> list[SampledClip]:
    """The motions of files of clips, else of the model's own; each with a name that no other has."""
    found = []
    for path, shown in _files(build, files):
        clips = find_clips(path, shown, None, diagnostics)
        found += [clip for clip in clips if len(clip.times)]
    names = distinct([clip.name for clip in found], [], "clips")
    evaluator = Evaluator(build.rig)
    result = []
    for name, clip in zip(names, found, strict=True):
        build.step(name)
        dense = clip if clip.between is None else clip.between(_samples(clip.times))
        poses = poses_from_clip(build.rig, dense, diagnostics)
        result.append(_motion(build, tree, evaluator, (name, dense.times, poses)))
        _tell_rounded_scales(result[-1], diagnostics)
    return result


def still(build: Build, tree: JointTree) -> SampledClip:
    """One sample, as the file rests."""
    rests = [joint.rest for joint in build.rig.skeleton]
    poses = replace(
        rest_poses(build.rig),
        rotations=np.array([rest.rotation for rest in rests]).reshape(1, -1, 4),
        translations=np.array([rest.translation for rest in rests]).reshape(1, -1, 3),
        scales=np.array([rest.scale for rest in rests]).reshape(1, -1, 3),
    )
    return _motion(build, tree, Evaluator(build.rig), ("rest", np.zeros(1), poses))


def _files(build: Build, files: Sequence[str]) -> list[tuple[Path, str]]:
    if files:
        return [(Path(file), file) for file in files]
    geometry = build.rig.character.geometry
    if geometry is None:
        return []
    path = Workspace(build.folder, build.allowed).locate(geometry.file)
    if isinstance(path, Refused) or not read_outline(path).animations:
        return []
    return [(path, geometry.file)]


def _samples(times: Floats) -> Floats:
    start, end = float(times[0]), float(times[-1])
    even = start + np.arange(int((end - start) * SAMPLES_A_SECOND) + 1) / SAMPLES_A_SECOND
    return np.unique(np.round(np.concatenate([times, even]), 9))


def _motion(build: Build, tree: JointTree, evaluator: Evaluator, moved: tuple[str, Floats, Poses]) -> SampledClip:
    name, times, poses = moved
    table = evaluator.strengths(poses)
    columns = {strength: table[:, column] for column, strength in enumerate(evaluator.names)}
    nothing = np.zeros(poses.frames)
    strengths = {shape.name: nothing if shape.follows is None else columns[shape.follows] for shape in build.rig.shapes}
    if build.attached is not None:
        values = dict(zip(poses.control_names, poses.controls.T, strict=True))
        for morph, control in own_morphs(build.rig, build.attached.mesh).items():
            strengths.setdefault(morph, values.get(control.name, nothing))
    folds = {fold.name: nothing if fold.follows is None else columns[fold.follows] for fold in build.rig.folds}
    return SampledClip(name, times, *_frames(build.rig, tree, poses), strengths, folds)


def _frames(rig: Rig, tree: JointTree, poses: Poses) -> tuple[Floats, Floats, Floats]:
    """Rotations, each on the side of the one before, translations and scales of all joints, without even scales."""
    whole = rest_poses(rig, poses.frames)
    rotations, translations, scales = whole.rotations.copy(), whole.translations.copy(), rest_scales(rig, poses.frames)
    rows = {joint: row for row, joint in enumerate(whole.joints)}
    at = [rows[joint] for joint in poses.joints]
    given = poses.rotations.any(axis=2, keepdims=True)
    rotations[:, at] = np.where(given, poses.rotations, rotations[:, at])
    translations[:, at] = poses.translations
    if poses.scales is not None:
        scales[:, at] = poses.scales
    rotations /= np.linalg.norm(rotations, axis=2, keepdims=True)
    turned = (rotations[1:] * rotations[:-1]).sum(axis=2) < 0.0
    rotations[1:] *= np.cumprod(np.where(turned, -1.0, 1.0), axis=0)[..., None]
    return rotations, translations * tree.above[:, None], scales / tree.own[:, None]


def _tell_rounded_scales(motion: SampledClip, diagnostics: Diagnostics) -> None:
    """A SkelAnimation holds scales in half precision; where that shows, by how much."""
    rounded = motion.scales.astype(np.float16).astype(np.float64)
    error = float((np.abs(rounded - motion.scales) / np.maximum(np.abs(motion.scales), 1e-30)).max(initial=0.0))
    if error > _HALF_ERROR:
        diagnostics.add("usd-scales-rounded", None, clip=motion.name, error=percent(error))
