"""Expectations of strengths alone: rest, reach, smooth, even."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import rest_poses
from plica.prove.frames import worst_frame
from plica.prove.quantities import written
from plica.prove.results import FULLY_ON, Result, judged, not_measured
from plica.prove.sweeps import Sweeper, Track
from plica.rig.model import Expectation, Fold, Rig, Shape

Floats = NDArray[np.float64]

FINE: Final = 129
"""Poses of a sweep in which jumps are looked for."""


class Strengths:
    """Measures what strengths do over the tracks of one rig."""

    def __init__(self, rig: Rig, sweeper: Sweeper) -> None:
        """Raises ValueError where the rig refers to something that it does not have."""
        self._rig, self._sweeper = rig, sweeper
        self._evaluator = Evaluator(rig)
        self._columns = {name: column for column, name in enumerate(self._evaluator.names)}

    def rest(self, index: int, expectation: Expectation) -> Result:
        """Every strength is exactly 0 in the rest pose."""
        values = np.abs(self._evaluator.strengths(rest_poses(self._rig))[0])
        if not len(values):
            return judged(index, expectation, 0.0, frames=1)
        worst = int(values.argmax())
        about = self._evaluator.names[worst] if values[worst] else ""
        return judged(index, expectation, float(values[worst]), frames=1, about=about)

    def reach(self, index: int, expectation: Expectation, tracks: Sequence[Track]) -> Result:
        """Each strength gets from 0 to 1; the figure is how much of that way the one goes that goes the least of it.

        The rest pose, which every expectation goes over, does not count: a clip in which a strength is never off does
        not take it from 0 to 1.
        """
        columns = [self._columns[name] for name in expectation.of]
        most = np.full(len(columns), -np.inf)
        least = np.full(len(columns), np.inf)
        best: list[tuple[Track, int] | None] = [None] * len(columns)
        moving = [track for track in tracks if track.kind != "rest"]
        for track in moving:
            values = self._evaluator.strengths(track.poses)[:, columns]
            least = np.minimum(least, values.min(axis=0))
            for number in np.flatnonzero(values.max(axis=0) > most).tolist():
                at = int(values[:, number].argmax())
                most[number], best[number] = values[at, number], (track, at)
        if not moving:
            return not_measured(index, expectation, "nothing moves: there is neither a sweep nor a clip to go over")
        travelled = most - np.maximum(least, 0.0)
        worst = int(travelled.argmin())
        found = best[worst]
        frame = worst_frame(self._rig, found[0], found[1]) if found else None
        ranges = zip(expectation.of, least.tolist(), most.tolist(), travelled.tolist(), strict=True)
        about = _never_reached(list(ranges))
        return judged(index, expectation, float(travelled[worst]), frames=_count(moving), frame=frame, about=about)

    def smooth(self, index: int, expectation: Expectation, tracks: Sequence[Track]) -> Result:
        """No strength jumps by more than the limit between neighbouring poses of a sweep or a clip."""
        columns = [self._columns[name] for name in expectation.of]
        worst, place, about, frames = 0.0, None, "", 0
        for track in tracks:
            if not track.continuous:
                continue
            if track.kind == "sweep" and track.between is not None:
                places = np.linspace(0.0, 1.0, FINE)
                track = Track(track.name, track.kind, places, track.between(places), track.between)
            frames += track.poses.frames
            jumps = np.abs(np.diff(self._evaluator.strengths(track.poses)[:, columns], axis=0))
            if jumps.size and jumps.max() > worst:
                row, column = np.unravel_index(int(jumps.argmax()), jumps.shape)
                worst, place, about = float(jumps.max()), (track, int(row) + 1), expectation.of[int(column)]
        frame = worst_frame(self._rig, *place) if place else None
        return judged(index, expectation, worst, frames=frames, frame=frame, about=about)

    def even(self, index: int, expectation: Expectation, tracks: Sequence[Track]) -> Result:
        """Mirrored poses give mirrored strengths, for all that has a side."""
        if self._rig.symmetry is None:
            return not_measured(index, expectation, "no mirror plane is known")
        pairs = list(pairs_of(self._rig))
        worst, place, about = 0.0, None, ""
        for track in tracks if pairs else ():
            mirrored = self._sweeper.mirrored(track.poses)
            assert mirrored is not None
            here, there = self._evaluator.strengths(track.poses), self._evaluator.strengths(mirrored)
            for pair in pairs:
                other = there[:, self._columns[pair.other]] if pair.other else 0.0
                apart = np.abs(here[:, self._columns[pair.name]] - other)
                if apart.max(initial=0.0) > worst:
                    worst, place = float(apart.max()), (track, int(apart.argmax()))
                    about = pair.told
        frame = worst_frame(self._rig, *place) if place else None
        return judged(index, expectation, worst, frames=_count(tracks), frame=frame, about=about)


class Pair(NamedTuple):
    """A strength of one side and its like on the other; `other` is None where there is none."""

    name: str
    other: str | None
    told: str


@dataclass(frozen=True)
class _Sided:
    declared: str
    side: str


def pairs_of(rig: Rig) -> Iterator[Pair]:
    """Strengths and those of the other side, and what shapes and folds of both sides follow."""
    known = {_Sided(item.declared, item.side): item.name for item in rig.strengths}
    seen = set()
    for item in rig.strengths:
        if item.side == "none":
            continue
        other = known.get(_Sided(item.declared, _opposite(item.side)))
        seen.add((item.name, other))
        told = f"{item.name} and {other}" if other else f"{item.name}, which the other side lacks"
        yield Pair(item.name, other, told)
    for pair in (*_followed(rig.shapes), *_followed(rig.folds)):
        if (pair.name, pair.other) not in seen:
            yield pair


def _followed(items: Sequence[Shape] | Sequence[Fold]) -> Iterator[Pair]:
    follows = {_Sided(item.declared, item.side): item.follows for item in items}
    for item in items:
        other = follows.get(_Sided(item.declared, _opposite(item.side)))
        if item.side != "none" and item.follows is not None and other is not None:
            yield Pair(item.follows, other, f"{item.name} follows {item.follows}, the other side's follows {other}")


def _opposite(side: str) -> str:
    return {"left": "right", "right": "left"}.get(side, side)


def _never_reached(ranges: Sequence[tuple[str, float, float, float]]) -> str:
    """Which strengths never get from 0 to 1, and how far each gets: names, least and most strengths, and travels."""
    told = [
        f"{name} ({'from ' + written(least, '') + ' ' if least > FULLY_ON else ''}to {written(most, '')})"
        for name, least, most, travelled in ranges
        if travelled < 1.0 - FULLY_ON
    ]
    return f"never from 0 to 1: {', '.join(told)}" if told else ""


def _count(tracks: Sequence[Track]) -> int:
    return sum(track.poses.frames for track in tracks)
