"""Geometric expectations: many measures over the same poses, the mesh deformed once for all of them.

Poses are streamed in blocks of bounded memory, with the correctives and without.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from plica.evaluate.poses import Poses
from plica.mesh.deform import Deformer, Motion
from plica.mesh.model import Floats
from plica.prove.frames import worst_frame
from plica.prove.gauges import Gauge, Skin, UnmeasurableError
from plica.prove.results import LEAST_IS_WORST, Result, judged, limit_of, not_measured, within
from plica.prove.sweeps import Track, finer
from plica.rig.model import Expectation

BLOCK_BYTES: Final = 16 << 20
"""Positions that are held at once."""
NEAR: Final = 0.7
"""A sweep whose worst figure comes to this share of the limit is looked at more closely there."""
CLOSER_LOOKS: Final = 4
"""Sweeps that are looked at more closely for each expectation: the worst ones."""

Tell = Callable[[int], None]
"""Called with the number of frames that were done since the last call."""


@dataclass
class _Found:
    """The worst figure so far: of all tracks, and of each track by its number."""

    worst: float
    track: int = -1
    frame: int = -1
    vertex: int = -1
    of_track: dict[int, tuple[float, int]] = field(default_factory=dict)


@dataclass
class _Run:
    """One expectation being measured; `sign` turns its figures so that the greatest is the worst."""

    index: int
    expectation: Expectation
    gauge: Gauge
    sign: float
    shaped: _Found
    bare: _Found
    frames: int = 0
    spoilt: bool = False

    def take(self, found: _Found, track: int, start: int, positions: Floats) -> None:
        measured = self.gauge(positions)
        values = self.sign * measured.values
        if np.isnan(values).any():
            self.spoilt = True
            return
        at = int(values.argmax())
        value = float(values[at])
        if value > found.of_track.get(track, (-np.inf, 0))[0]:
            found.of_track[track] = (value, start + at)
        if value > found.worst:
            found.worst, found.track, found.frame = value, track, start + at
            found.vertex = int(measured.vertices[at])


class SkinRuns:
    """Measures geometric expectations over tracks."""

    def __init__(self, skin: Skin, deformer: Deformer, block_bytes: int = BLOCK_BYTES) -> None:
        self._skin, self._deformer, self._block_bytes = skin, deformer, block_bytes

    def measured(
        self, asked: Sequence[tuple[int, Expectation]], tracks: Sequence[Track], tell: Tell = lambda frames: None
    ) -> Iterator[Result]:
        """The results of expectations that go over the same tracks."""
        runs = []
        for index, expectation in asked:
            try:
                runs.append(self._run(index, expectation))
            except UnmeasurableError as why:
                yield not_measured(index, expectation, str(why))
        if not runs:
            return
        looked_at = list(tracks)
        for number, track in enumerate(tracks):
            self._over(runs, number, track.poses)
            tell(track.poses.frames)
        for run in runs:
            for track in list(self._closer(run, tracks)):
                looked_at.append(track)
                self._over([run], len(looked_at) - 1, track.poses)
            yield self._result(run, looked_at)

    def _run(self, index: int, expectation: Expectation) -> _Run:
        sign = -1.0 if expectation.kind in LEAST_IS_WORST else 1.0
        gauge = self._skin.gauge(expectation)
        return _Run(index, expectation, gauge, sign, _Found(-np.inf), _Found(-np.inf))

    def _over(self, runs: Sequence[_Run], track: int, poses: Poses) -> None:
        motion = self._deformer.motion(poses)
        for run in runs:
            run.frames += poses.frames
        for block in self._deformer.positions(motion, block_bytes=self._block_bytes):
            for run in runs:
                run.take(run.shaped, track, block.start, block.positions)
        if motion.strengths.any():
            bare = Motion(np.zeros_like(motion.strengths), motion.skins)
            for block in self._deformer.positions(bare, block_bytes=self._block_bytes):
                for run in runs:
                    run.take(run.bare, track, block.start, block.positions)
        else:
            for run in runs:
                _carry(run.shaped, run.bare, track)

    def _closer(self, run: _Run, tracks: Sequence[Track]) -> Iterator[Track]:
        """Poses between the neighbours of the worst frames, of sweeps that come near the limit."""
        limit = limit_of(run.expectation)
        if limit is None:
            return
        ranked = sorted(run.shaped.of_track.items(), key=lambda item: (-item[1][0], item[0]))
        for number, (value, frame) in ranked[:CLOSER_LOOKS]:
            track = tracks[number]
            if track.between is None or not self._is_near(run, run.sign * value, limit):
                continue
            places = finer(track.places, frame)
            if len(places):
                yield Track(track.name, track.kind, places, track.between(places))

    def _is_near(self, run: _Run, value: float, limit: float) -> bool:
        if run.expectation.kind in LEAST_IS_WORST:
            return value <= limit / NEAR or not within(run.expectation.kind, value, limit)
        return value >= NEAR * limit

    def _result(self, run: _Run, tracks: Sequence[Track]) -> Result:
        if run.spoilt or run.shaped.track < 0:
            why = "the measure is not a number in some pose: the region encloses nothing, or is squeezed to nothing"
            return not_measured(run.index, run.expectation, why)
        found = run.shaped
        return judged(
            run.index,
            run.expectation,
            run.sign * found.worst,
            bare=run.sign * run.bare.worst,
            frames=run.frames,
            frame=worst_frame(self._skin.rig, tracks[found.track], found.frame),
            place=self._skin.place(run.expectation, found.vertex),
        )


def _carry(shaped: _Found, bare: _Found, track: int) -> None:
    """Where no shape was on, the figures without correctives are those with them."""
    if track not in shaped.of_track:
        return
    value, frame = shaped.of_track[track]
    bare.of_track[track] = (value, frame)
    if value > bare.worst:
        bare.worst, bare.track, bare.frame, bare.vertex = value, track, frame, shaped.vertex
