"""What a measure returns."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from plica.kinds.expectations import Worse
from plica.mesh.arrays import Floats, Integers


@dataclass(frozen=True, eq=False)
class FrameValues:
    """One figure for each frame: values (frames,), and vertices (frames,) where on the mesh it was found, -1 for none.

    What the figure means and its unit stand with the measure.
    """

    values: Floats
    vertices: Integers


class WorstValues(NamedTuple):
    """The worst figure of each run of frames: values (runs,), the first frames (runs,) that have it, and where on the
    mesh (runs,), -1 for none. The value is not a number where a frame of the run has no figure."""

    values: Floats
    frames: Integers
    vertices: Integers


def worst_of(measured: FrameValues, starts: Integers, worse: Worse = Worse.GREATER) -> WorstValues:
    """The worst figure of each run of frames; starts (runs,): the runs' first frames, from 0, rising."""
    at = np.array(
        [
            start + _worst(worse.badness(part))
            for start, part in zip(starts, np.split(measured.values, starts[1:]), strict=True)
        ],
        np.int64,
    )
    return WorstValues(measured.values[at], at, measured.vertices[at])


def runs_of(frames: int, starts: Integers) -> Integers:
    """The run of each frame (frames,)."""
    return np.searchsorted(starts, np.arange(frames), side="right") - 1


def joined(pieces: Iterable[tuple[slice, WorstValues]], starts: Integers, worse: Worse = Worse.GREATER) -> WorstValues:
    """The worst of each run of frames, from those of pieces one after the other, whose runs are those in them."""
    values, frames, vertices = np.zeros(len(starts)), np.array(starts), np.full(len(starts), -1)
    seen = np.zeros(len(starts), np.bool_)
    for piece, result in pieces:
        runs = np.unique(runs_of(piece.stop, starts)[piece.start :])
        taken = (worse.badness(result.values) > worse.badness(values[runs])) | np.isnan(result.values)
        taken &= ~np.isnan(values[runs])
        taken |= ~seen[runs]
        seen[runs] = True
        values[runs[taken]] = result.values[taken]
        frames[runs[taken]] = result.frames[taken] + piece.start
        vertices[runs[taken]] = result.vertices[taken]
    return WorstValues(values, frames, vertices)


def starts_in(piece: slice, starts: Integers) -> Integers:
    """The runs' first frames within a piece of the frames."""
    runs = np.unique(runs_of(piece.stop, starts)[piece.start :])
    return np.asarray(np.maximum(starts[runs] - piece.start, 0))


def _worst(values: Floats) -> int:
    unknown = np.isnan(values)
    return int(unknown.argmax() if unknown.any() else values.argmax())
