"""Clips as rows: where each frame comes from, and the strengths and readings of a rig in it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.source_model import clip_files
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import Array
from plica.evaluate.retarget import poses_from_clip
from plica.kinds.readings import kind_of
from plica.mesh.computed_cache import ComputedCache
from plica.readers.clip import Clip
from plica.readers.clip_reader import find_clips
from plica.readers.model_outline import distinct
from plica.rig.entry_text import reading_text
from plica.rig.rig import Rig, SourceFile
from plica.rig.strengths import Driver
from plica.units import Dimension

DECIMALS = 12
"""Of every number that is computed: machines differ in later ones."""
UNITS = {Dimension.ANGLE: "rad", Dimension.LENGTH: "m"}
"""Of readings; the others have none, which is written `1`."""


class MotionRequest(NamedTuple):
    """Files of clips (none: the model's own), whether readings are wanted, and how often a second (None: at keys)."""

    clips: tuple[str, ...]
    readings: bool
    rate: float | None


class Column(NamedTuple):
    """A column of numbers (frames,): its name, what it is (`strength` or `reading`), its unit, and what is read."""

    name: str
    kind: str
    unit: str
    text: str
    values: Array


class MotionTable(NamedTuple):
    """Rows one clip after the other.

    clips, frames, times (rows,): the clip's name, the number of the frame in it from 0, seconds in it. files: those
    that the clips came from."""

    clips: NDArray[np.str_]
    frames: NDArray[np.int32]
    times: Array
    columns: tuple[Column, ...]
    files: tuple[SourceFile, ...]


class _Shown(NamedTuple):
    """A clip with the name that its rows have."""

    name: str
    clip: Clip


def motion_table(build: Build, wanted: MotionRequest, diagnostics: Diagnostics) -> MotionTable | None:
    """The rows of all clips; None, after a diagnostic, where there are none."""
    errors = diagnostics.count_of_errors
    files = clip_files(build, wanted.clips)
    shown = list(_clips(files, wanted.rate, diagnostics))
    if diagnostics.count_of_errors > errors:
        return None
    if not shown:
        diagnostics.add("table-without-clips", None, character=build.rig.character.name)
        return None
    evaluator, memory = Evaluator(build.rig), ComputedCache()
    strengths, readings = [], []
    for one in shown:
        build.step(one.name)
        poses = poses_from_clip(build.rig, one.clip, diagnostics)
        strengths.append(evaluator.strengths(poses))
        if wanted.readings:
            readings.append(evaluator.readings(poses))
    columns = list(_strength_columns(evaluator, np.concatenate(strengths)))
    if wanted.readings:
        columns += _reading_columns(build.rig, evaluator, np.concatenate(readings))
    return MotionTable(
        np.concatenate([np.full(len(one.clip.times), one.name) for one in shown]),
        np.concatenate([np.arange(len(one.clip.times), dtype=np.int32) for one in shown]),
        np.concatenate([one.clip.times for one in shown]),
        tuple(columns),
        tuple(SourceFile(path.name, memory.digest(path)) for path, _ in files),
    )


def _clips(files: list[tuple[Path, str]], rate: float | None, diagnostics: Diagnostics) -> Iterator[_Shown]:
    """The clips that have frames, each with a name of its own: the file's, and the clip's where there are several."""
    found: list[tuple[str, Clip]] = []
    for path, shown in files:
        clips = find_clips(path, shown, None, diagnostics, rate)
        for clip in clips:
            if len(clip.times):
                found.append((path.name if len(clips) == 1 else f"{path.name}: {clip.name}", clip))
    names = distinct([name for name, _ in found], [], "clips")
    yield from (_Shown(name, clip) for name, (_, clip) in zip(names, found, strict=True))


def _strength_columns(evaluator: Evaluator, values: Array) -> Iterator[Column]:
    for name, column in zip(evaluator.names, _written(values), strict=True):
        yield Column(name, "strength", "1", "", column)


def _reading_columns(rig: Rig, evaluator: Evaluator, values: Array) -> Iterator[Column]:
    drivers = {one.name: one for one in rig.strengths if isinstance(one, Driver)}
    for name, column in zip(evaluator.driver_names, _written(values), strict=True):
        reading = drivers[name].reading
        unit = UNITS.get(kind_of(reading).dimension, "1")
        yield Column(f"reading of {name}", "reading", unit, reading_text(reading), column)


def _written(values: Array) -> Array:
    """Columns as rows, without the digits that machines differ in; what is not a number stays so."""
    return np.asarray(np.round(values, DECIMALS).T + 0.0)
