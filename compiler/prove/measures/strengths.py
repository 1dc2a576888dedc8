"""Expectations of strengths alone: rest, file rest, reach, smooth, even."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np

from plica.evaluate.poses import Poses, file_rest, rest_poses
from plica.kinds.expectations import EXPECTATION_KINDS, FULLY_ON, expectation_kind
from plica.prove.measures.offsets import uneven_shapes
from plica.prove.proof import Proof
from plica.prove.registry import DirectMeasure, Measure
from plica.prove.results import Result, WorstPlace, judged, not_measured
from plica.prove.sweeps import PoseTrack
from plica.prove.worst_frames import worst_frame
from plica.quantities import measured
from plica.rig.rig import Expectation, Rig
from plica.rig.surfaces import Fold, Shape

FINE: Final = 129
"""Poses of a sweep in which jumps are looked for."""


def _strengths_at_rest(proof: Proof, index: int, expectation: Expectation, still: Poses) -> Result:
    """Every strength is 0 in a pose, to the rounding of the expectation."""
    values = np.abs(proof.evaluator.strengths(still)[0])
    if not len(values):
        return judged(index, expectation, 0.0, frames=1)
    worst = int(values.argmax())
    about = proof.evaluator.names[worst] if values[worst] else ""
    return judged(index, expectation, float(values[worst]), frames=1, about=about)


def _reach(proof: Proof, index: int, expectation: Expectation) -> Result:
    """Each strength gets from 0 to 1; the figure is how much of that way the one goes that goes the least of it.

    The rest pose, which every expectation goes over, does not count: a clip in which a strength is never off does
    not take it from 0 to 1.
    """
    columns = [proof.columns[name] for name in expectation.of]
    most = np.full(len(columns), -np.inf)
    least = np.full(len(columns), np.inf)
    best: list[tuple[PoseTrack, int] | None] = [None] * len(columns)
    moving = [track for track in proof.tracks(expectation) if track.kind != "rest"]
    for track in moving:
        values = proof.evaluator.strengths(track.poses)[:, columns]
        least = np.minimum(least, values.min(axis=0))
        for number in np.flatnonzero(values.max(axis=0) > most).tolist():
            at = int(values[:, number].argmax())
            most[number], best[number] = values[at, number], (track, at)
    if not moving:
        return not_measured(index, expectation, "nothing moves: there is neither a sweep nor a clip to go over")
    travelled = most - np.maximum(least, 0.0)
    worst = int(travelled.argmin())
    result = best[worst]
    frame = worst_frame(proof.rig, result[0], result[1]) if result else None
    ranges = zip(expectation.of, least.tolist(), most.tolist(), travelled.tolist(), strict=True)
    about = _never_reached(list(ranges))
    return judged(index, expectation, float(travelled[worst]), frames=_count(moving), frame=frame, about=about)


def _smooth(proof: Proof, index: int, expectation: Expectation) -> Result:
    """No strength jumps by more than the limit between neighbouring poses of a sweep or a clip."""
    columns = [proof.columns[name] for name in expectation.of]
    worst, place, about, frames = 0.0, None, "", 0
    tracks = [track for track in proof.tracks(expectation) if track.continuous and len(track.places) > 1]
    if not tracks:
        return not_measured(
            index, expectation, "no pose has a neighbour: there is neither a sweep nor a clip to go over"
        )
    for track in tracks:
        if track.kind == "sweep" and track.between is not None:
            places = np.linspace(0.0, 1.0, FINE)
            track = PoseTrack(track.name, track.kind, places, track.between(places), track.between)
        frames += track.poses.frames
        jumps = np.abs(np.diff(proof.evaluator.strengths(track.poses)[:, columns], axis=0))
        if jumps.size and jumps.max() > worst:
            row, column = np.unravel_index(int(jumps.argmax()), jumps.shape)
            worst, place, about = float(jumps.max()), (track, int(row) + 1), expectation.of[int(column)]
    frame = worst_frame(proof.rig, *place) if place else None
    return judged(index, expectation, worst, frames=frames, frame=frame, about=about)


def _even_strengths(proof: Proof, index: int, expectation: Expectation) -> Result:
    """Mirrored poses give mirrored strengths, for all that has a side."""
    if proof.rig.symmetry is None:
        return not_measured(index, expectation, "no mirror plane is known")
    pairs, tracks = list(pairs_of(proof.rig)), proof.tracks(expectation)
    worst, place, about = 0.0, None, ""
    for track in tracks if pairs else ():
        mirrored = proof.sweeper.mirrored(track.poses)
        assert mirrored is not None
        here, there = proof.evaluator.strengths(track.poses), proof.evaluator.strengths(mirrored)
        for pair in pairs:
            other = there[:, proof.columns[pair.other]] if pair.other else 0.0
            apart = np.abs(here[:, proof.columns[pair.name]] - other)
            if apart.max(initial=0.0) > worst:
                worst, place = float(apart.max()), (track, int(apart.argmax()))
                about = pair.told
    frame = worst_frame(proof.rig, *place) if place else None
    return judged(index, expectation, worst, frames=_count(tracks), frame=frame, about=about)


def _rest(proof: Proof, index: int, expectation: Expectation) -> Result:
    """In the neutral stance strengths are 0, and no vertex is moved by a shape."""
    result = _still(proof, index, expectation, rest_poses(proof.rig))
    if result.about or proof.rig.character.stance == "rest":
        return result
    return replace(result, about="in the bind pose, which is the neutral stance")


def _file_rest(proof: Proof, index: int, expectation: Expectation) -> Result:
    """The same in the pose in which the model's file rests, which is what a program shows before anything moves."""
    if proof.rig.character.geometry is None:
        return not_measured(index, expectation, "there is no model whose file could rest in a pose of its own")
    still = file_rest(proof.rig)
    result = _still(proof, index, expectation, still)
    if result.status == "holds":
        return result
    return replace(result, frame=worst_frame(proof.rig, PoseTrack("the file's rest", "pose", np.zeros(1), still), 0))


def _still(proof: Proof, index: int, expectation: Expectation, still: Poses) -> Result:
    result = _strengths_at_rest(proof, index, expectation, still)
    deformer = proof.deformer
    if result.status != "holds" or deformer is None:
        return result
    motion = deformer.motion(still)
    shaped = next(deformer.positions(motion)).positions[0]
    bare = next(deformer.positions(motion.without_shapes())).positions[0]
    distances = np.linalg.norm(shaped - bare, axis=1)
    worst = int(distances.argmax())
    if distances[worst] <= expectation_kind(expectation.kind).limit.rounding:
        return result
    x, y, z = bare[worst].tolist()
    place = WorstPlace("", worst, "", (x, y, z))
    return judged(index, expectation, float(distances[worst]), frames=1, place=place, about="a vertex moves")


def _even(proof: Proof, index: int, expectation: Expectation) -> Result:
    """Strengths first; then shapes, whose figure is a share of their longest offset."""
    result = _even_strengths(proof, index, expectation)
    if proof.attached is None or result.status == "not measured":
        return result
    worst, about = uneven_shapes(proof.rig, proof.attached)
    if result.worst is not None and worst <= result.worst:
        return result
    return judged(index, expectation, worst, frames=result.frames, about=about)


class StrengthPair(NamedTuple):
    """A strength of one side and its like on the other; `other` is None where there is none."""

    name: str
    other: str | None
    told: str


@dataclass(frozen=True)
class _Sided:
    declared: str
    side: str


def pairs_of(rig: Rig) -> Iterator[StrengthPair]:
    """Strengths and those of the other side, and what shapes and folds of both sides follow."""
    known = {_Sided(item.declared, item.side): item.name for item in rig.strengths}
    seen = set()
    for item in rig.strengths:
        if item.side == "none":
            continue
        other = known.get(_Sided(item.declared, _opposite(item.side)))
        seen.add((item.name, other))
        told = f"{item.name} and {other}" if other else f"{item.name}, which the other side lacks"
        yield StrengthPair(item.name, other, told)
    for pair in (*_followed(rig.shapes), *_followed(rig.folds)):
        if (pair.name, pair.other) not in seen:
            yield pair


def _followed(items: Sequence[Shape] | Sequence[Fold]) -> Iterator[StrengthPair]:
    follows = {_Sided(item.declared, item.side): item.follows for item in items}
    for item in items:
        other = follows.get(_Sided(item.declared, _opposite(item.side)))
        if item.side != "none" and item.follows is not None and other is not None:
            yield StrengthPair(
                item.follows, other, f"{item.name} follows {item.follows}, the other side's follows {other}"
            )


def _opposite(side: str) -> str:
    return {"left": "right", "right": "left"}.get(side, side)


def _never_reached(ranges: Sequence[tuple[str, float, float, float]]) -> str:
    """Which strengths never get from 0 to 1, and how far each gets: names, least and most strengths, and travels."""
    told = [
        f"{name} ({'from ' + measured(least, '') + ' ' if least > FULLY_ON else ''}to {measured(most, '')})"
        for name, least, most, travelled in ranges
        if travelled < 1.0 - FULLY_ON
    ]
    return f"never from 0 to 1: {', '.join(told)}" if told else ""


def _count(tracks: Sequence[PoseTrack]) -> int:
    return sum(track.poses.frames for track in tracks)


MEASURES: Final[tuple[Measure, ...]] = (
    DirectMeasure(EXPECTATION_KINDS["rest"], _rest),
    DirectMeasure(EXPECTATION_KINDS["file_rest"], _file_rest),
    DirectMeasure(EXPECTATION_KINDS["reach"], _reach),
    DirectMeasure(EXPECTATION_KINDS["smooth"], _smooth),
    DirectMeasure(EXPECTATION_KINDS["even"], _even),
)
