"""Clips as what a SkelAnimation holds: local frames of all joints and the strengths of all shapes, sample by sample."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.source_model import clip_files, sample_times
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import Poses, file_rest, whole_poses
from plica.evaluate.retarget import poses_from_clip
from plica.mesh.arrays import Floats
from plica.mesh.deform import own_morphs
from plica.quantities import percent
from plica.readers.clip_reader import find_clips
from plica.readers.model_outline import distinct
from plica.targets.usd.skeleton import JointTree

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
    for path, shown in clip_files(build, files):
        clips = find_clips(path, shown, None, diagnostics)
        found += [clip for clip in clips if len(clip.times)]
    names = distinct([clip.name for clip in found], [], "clips")
    evaluator = Evaluator(build.rig)
    result = []
    for name, clip in zip(names, found, strict=True):
        build.step(name)
        dense = clip if clip.between is None else clip.between(np.unique(np.round(sample_times(clip.times), 9)))
        poses = poses_from_clip(build.rig, dense, diagnostics)
        result.append(_motion(build, tree, evaluator, (name, dense.times, poses)))
        _tell_rounded_scales(result[-1], diagnostics)
    return result


def still(build: Build, tree: JointTree) -> SampledClip:
    """One sample, as the file rests."""
    return _motion(build, tree, Evaluator(build.rig), ("rest", np.zeros(1), file_rest(build.rig)))


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
    whole = whole_poses(build.rig, poses)
    assert whole.scales is not None
    folds = {fold.name: nothing if fold.follows is None else columns[fold.follows] for fold in build.rig.folds}
    return SampledClip(
        name,
        times,
        whole.rotations,
        whole.translations * tree.above[:, None],
        whole.scales / tree.own[:, None],
        strengths,
        folds,
    )


def _tell_rounded_scales(motion: SampledClip, diagnostics: Diagnostics) -> None:
    """A SkelAnimation holds scales in half precision; where that shows, by how much."""
    rounded = motion.scales.astype(np.float16).astype(np.float64)
    error = float((np.abs(rounded - motion.scales) / np.maximum(np.abs(motion.scales), 1e-30)).max(initial=0.0))
    if error > _HALF_ERROR:
        diagnostics.add("usd-scales-rounded", None, clip=motion.name, error=percent(error))
