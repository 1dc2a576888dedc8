"""Geometric expectations: the mesh is deformed once for all that are measured over the same poses.

Tracks are cut into stretches of frames and those packed into units of work
(`plica.prove.execution.work`). An executor does them, in any order; the worst of the answers does not depend on it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

import numpy as np

from plica.evaluate.poses import Poses
from plica.kinds.expectations import Worse
from plica.mesh.deform import Deformer, Motion
from plica.mesh.skin_mirror import SkinMirror
from plica.prove.cache.figures import CachedFigures, Percentiles
from plica.prove.execution.executor import Executor
from plica.prove.execution.work import BLOCK_BYTES, MeasuredFigure, WorkAnswer, WorkUnit, worse_of
from plica.prove.pose_rows import finer
from plica.prove.registry import is_paired, skin_measure
from plica.prove.results import Result, judged, not_measured
from plica.prove.skin import Skin
from plica.prove.skin_parts import looked_at
from plica.prove.sweeps import PoseTrack
from plica.prove.worst_frames import worst_frame
from plica.rig.expectations import keeps_to, limit_of
from plica.rig.rig import Expectation

MOST_FRAMES: Final = 64
"""Frames of a stretch, at the most: so few that a small change leaves most of a clip kept."""
STRETCHES: Final = 2
"""Full stretches of a unit: so few that work spreads evenly, so many that measures are quick."""
NEAR: Final = 0.7
"""A sweep whose worst figure comes to this share of the limit is looked at more closely there."""
CLOSER_LOOKS: Final = 4
"""Sweeps that are looked at more closely for each expectation: the worst ones."""


class Progress(NamedTuple):
    """How far the work has come: kinds of expectations, frames done, of how many, and how many came from the cache."""

    kinds: str
    frames: int
    whole: int
    recalled: int


Tell = Callable[[Progress], None]


class Tally(NamedTuple):
    """Figures (an expectation in a stretch of frames) that came from the cache, and that were measured."""

    recalled: int
    measured: int


@dataclass
class _Found:
    """The worst so far: the one whose `badness` is the greatest, and of equal ones that which comes first."""

    badness: float = -np.inf
    value: float = np.nan
    track: int = -1
    frame: int = -1
    vertex: int = -1

    def take(self, badness: float, value: float, track: int, frame: int, vertex: int) -> None:
        if (badness, -track, -frame) > (self.badness, -self.track, -self.frame) or self.track < 0:
            self.badness, self.value, self.track, self.frame, self.vertex = badness, value, track, frame, vertex


@dataclass
class _Run:
    """One expectation being measured, over tracks to which closer looks are added; `left` stretches still to come."""

    index: int
    expectation: Expectation
    tracks: list[PoseTrack]
    shaped: _Found = field(default_factory=_Found)
    bare: _Found = field(default_factory=_Found)
    of_track: dict[int, _Found] = field(default_factory=dict)
    left: int = 0
    looked_closer: bool = False
    why: str = ""

    @property
    def paired(self) -> bool:
        """Whether it is measured in poses and their mirror images together."""
        return is_paired(self.expectation.kind)

    def take(self, figure: MeasuredFigure, track: int, start: int) -> None:
        if figure.shaped is None or figure.bare is None:
            # Every stretch says the same, or whichever comes first in the alphabet is told
            self.why = min(filter(None, (self.why, figure.why)))
            return
        worse = worse_of(self.expectation)
        for result, worst in (
            (self.shaped, figure.shaped),
            (self.of_track.setdefault(track, _Found()), figure.shaped),
            (self.bare, figure.bare),
        ):
            result.take(worse.badness(worst.value), worst.value, track, start + worst.frame, worst.vertex)


class _Keys(NamedTuple):
    """What a motion is known by, alone and together with its mirror image."""

    alone: str
    paired: str

    def of(self, run: _Run) -> str:
        return self.paired if run.paired else self.alone


class _FrameStretch(NamedTuple):
    """Frames from `start` on of a track, and the runs that they are for with the number that each gives the track."""

    runs: tuple[tuple[_Run, int], ...]
    poses: Poses
    start: int


class _Unknown(NamedTuple):
    """A stretch with its motion, mirrored too where it is asked for, and what these are known by; of its runs only
    those whose figures were not kept."""

    stretch: _FrameStretch
    runs: tuple[tuple[_Run, int], ...]
    motion: Motion
    mirrored: Motion | None
    keys: _Keys

    @property
    def asked(self) -> tuple[int, ...]:
        return tuple(run.index for run, _ in self.runs)


class SkinRuns:
    """Measures geometric expectations over tracks."""

    def __init__(self, skin: Skin, deformer: Deformer, kept: CachedFigures, block_bytes: int = BLOCK_BYTES) -> None:
        self.skin, self.deformer, self.kept = skin, deformer, kept
        self.frames = frames_of_a_stretch(max(looked_at(skin), default=0), block_bytes)
        self.tally = Tally(0, 0)
        self._mirror = _mirror(skin)

    def mirrored(self, poses: Poses) -> Motion | None:
        """The motion in the mirrored poses; None where they cannot be mirrored."""
        return None if self._mirror is None else self._mirror.motion(self.deformer, poses)

    def measured(
        self,
        asked: Sequence[tuple[int, Expectation]],
        tracks: Mapping[int, Sequence[PoseTrack]],
        crew: Executor,
        tell: Tell = lambda done: None,
    ) -> Iterator[Result]:
        """The results of expectations, as they come; tracks: of each expectation by its number."""
        return _Measuring(self, asked, tracks, crew, tell).results()

    def percentiles(self, index: int, expectation: Expectation, pose: Poses) -> Percentiles:
        """The figures that shares of the region's area keep to in one pose; none where a kind has no such figures."""
        if skin_measure(expectation.kind).spread is None:
            return ()
        motion = self.deformer.motion(pose)

        def measured() -> Percentiles:
            return self.skin.percentiles(expectation, next(self.deformer.positions(motion)).positions[0])

        return self.kept.percentiles(index, motion, measured)

    def count(self, recalled: int, measured: int) -> None:
        """Adds to the tally."""
        self.tally = Tally(self.tally.recalled + recalled, self.tally.measured + measured)


class _Measuring:
    """One go through all tracks."""

    def __init__(
        self,
        skin_runs: SkinRuns,
        asked: Sequence[tuple[int, Expectation]],
        tracks: Mapping[int, Sequence[PoseTrack]],
        crew: Executor,
        tell: Tell,
    ) -> None:
        self._all, self._crew, self._tell = skin_runs, crew, tell
        self._runs = [_Run(index, expectation, list(tracks[index])) for index, expectation in asked]
        self._stretches: deque[_FrameStretch] = deque()
        self._pack: list[_Unknown] = []
        self._pending: dict[int, list[_Unknown]] = {}
        self._finished: deque[_Run] = deque()
        self._number = self._done = self._whole = self._recalled = 0
        self._add_tracks()

    def results(self) -> Iterator[Result]:
        """Keeps the crew busy until nothing is left."""
        while self._stretches or self._pack or self._pending:
            while self._stretches and self._crew.has_room:
                self._begin(self._stretches.popleft())
            if not self._stretches and self._crew.has_room:
                self._hand_out()
            if self._pending:
                self._crew.foresee(self._whole - self._done)
                self._end(self._crew.answer())
            yield from self._due()

    # ---- stretches

    def _add_tracks(self) -> None:
        """Each track once, for all that go over it."""
        over: dict[str, list[tuple[_Run, int]]] = {}
        tracks: dict[str, PoseTrack] = {}
        for run in self._runs:
            for number, track in enumerate(run.tracks):
                over.setdefault(track.name, []).append((run, number))
                tracks.setdefault(track.name, track)
        # Those that the same expectations go over after each other, as they make up units together
        for name, runs in sorted(over.items(), key=lambda item: [run.index for run, _ in item[1]]):
            self._cut(runs, tracks[name].poses)

    def _cut(self, runs: Sequence[tuple[_Run, int]], poses: Poses) -> None:
        size = self._all.frames
        starts = range(0, poses.frames, size)
        for run, _ in runs:
            run.left += len(starts)
        self._whole += poses.frames
        self._stretches += [_FrameStretch(tuple(runs), poses[start : start + size], start) for start in starts]

    def _begin(self, stretch: _FrameStretch) -> None:
        """Takes what is known, and packs the rest into units."""
        motion, mirrored = self._all.deformer.motion(stretch.poses), None
        alone = paired = self._all.kept.motion(motion)
        if any(run.paired for run, _ in stretch.runs):
            mirrored = self._all.mirrored(stretch.poses)
            paired = f"{alone} {self._all.kept.motion(mirrored)}" if mirrored is not None else alone
        keys, unknown = _Keys(alone, paired), []
        for run, track in stretch.runs:
            figure = self._all.kept.get(run.index, keys.of(run), stretch.poses.frames)
            if figure is None:
                unknown.append((run, track))
            else:
                self._take(run, track, stretch.start, figure)
        self._all.count(len(stretch.runs) - len(unknown), 0)
        if not unknown:
            self._recalled += stretch.poses.frames
            self._count(stretch)
            return
        result = _Unknown(stretch, tuple(unknown), motion, mirrored, keys)
        if self._pack and self._pack[0].asked != result.asked:
            self._hand_out()
        self._pack.append(result)
        if sum(len(one.motion.strengths) for one in self._pack) >= STRETCHES * self._all.frames:
            self._hand_out()

    def _hand_out(self) -> None:
        if self._pack:
            self._pending[self._number] = self._pack
            motions = tuple(one.motion for one in self._pack)
            mirrored = tuple(one.mirrored for one in self._pack)
            self._crew.add(WorkUnit(self._number, self._pack[0].asked, motions, mirrored))
            self._number += 1
            self._pack = []

    def _end(self, answer: WorkAnswer) -> None:
        for unknown, figures in zip(self._pending.pop(answer.number), answer.figures, strict=True):
            for (run, track), figure in zip(unknown.runs, figures, strict=True):
                self._all.kept.put(run.index, unknown.keys.of(run), figure)
                self._take(run, track, unknown.stretch.start, figure)
            self._all.count(0, len(unknown.runs))
            self._count(unknown.stretch)

    def _take(self, run: _Run, track: int, start: int, figure: MeasuredFigure) -> None:
        run.take(figure, track, start)
        run.left -= 1
        if not run.left:
            self._finished.append(run)

    def _count(self, stretch: _FrameStretch) -> None:
        self._done += stretch.poses.frames
        kinds = ", ".join(dict.fromkeys(run.expectation.kind for run, _ in stretch.runs))
        self._tell(Progress(kinds, self._done, self._whole, self._recalled))

    # ---- results

    def _due(self) -> Iterator[Result]:
        """Runs whose figures have all come: a closer look where it is wanted, else their results."""
        while self._finished:
            run = self._finished.popleft()
            closer = [] if run.looked_closer or run.why else _closer(run)
            run.looked_closer = True
            for track in closer:
                run.tracks.append(track)
                self._cut([(run, len(run.tracks) - 1)], track.poses)
            if not closer:
                yield self._result(run)

    def _result(self, run: _Run) -> Result:
        if run.why or run.shaped.track < 0:
            return not_measured(run.index, run.expectation, run.why or "there are no poses to measure it in")
        result, skin = run.shaped, self._all.skin
        frame = worst_frame(skin.rig, run.tracks[result.track], result.frame)
        made = judged(
            run.index,
            run.expectation,
            result.value,
            bare=run.bare.value,
            frames=sum(track.poses.frames for track in run.tracks),
            frame=frame,
            place=skin.place(run.expectation, result.vertex),
        )
        pose = run.tracks[result.track].poses[result.frame]
        return replace(made, percentiles=self._all.percentiles(run.index, run.expectation, pose))


def _mirror(skin: Skin) -> SkinMirror | None:
    """What mirrors the poses; None where nothing is asked of mirror images, or a joint cannot be mirrored."""
    if skin.symmetry is None or not any(is_paired(one.kind) for one in skin.rig.expectations):
        return None
    try:
        return SkinMirror(skin.rig, skin.mesh, skin.symmetry)
    except ValueError:
        return None


def frames_of_a_stretch(vertices: int, block_bytes: int = BLOCK_BYTES) -> int:
    """How many frames make a stretch: a power of two, by the size of what is measured alone."""
    fitting = max(1, min(MOST_FRAMES, block_bytes // max(1, 24 * vertices)))
    return 1 << (fitting.bit_length() - 1)


def _closer(run: _Run) -> list[PoseTrack]:
    """Poses between the neighbours of the worst frames, of tracks that come near the limit."""
    limit = limit_of(run.expectation)
    if limit is None:
        return []
    near = [
        (run.tracks[number], worst)
        for number, worst in sorted(run.of_track.items(), key=lambda item: (-item[1].badness, item[0]))
        if _is_near(run, worst.value, limit)
    ]
    result = []
    for track, worst in near:
        if track.between is not None and len(places := finer(track.places, worst.frame)):
            result.append(PoseTrack(track.name, track.kind, places, track.between(places)))
    return result[:CLOSER_LOOKS]


def _is_near(run: _Run, value: float, limit: float) -> bool:
    worse = worse_of(run.expectation)
    if worse is Worse.LESS:
        return value <= limit / NEAR or not keeps_to(run.expectation, value, limit)
    return worse.badness(value) >= NEAR * limit
