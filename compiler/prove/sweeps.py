"""The poses that an expectation is measured over.

A track is a row of poses with a name: a sweep of one strength from rest through its span, a pair of strengths of one
joint, a spread over the whole range, a clip. Tracks that are continuous may be looked at between their frames.
Everything is deterministic: the same rig gives the same poses.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import Final

import numpy as np

from plica.evaluate.evaluator import strengths_of
from plica.evaluate.inverse_readings import ReadingInverter
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.pose_mirror import PoseMirror
from plica.evaluate.poses import Array, Poses, SparsePose, poses_from, rest_poses, rest_scales
from plica.kinds.expectations import expectation_kind
from plica.kinds.reading_kind import Needs
from plica.kinds.readings import SeenFrom, controls_of, kind_of
from plica.kinds.readings import seen as seen_of
from plica.mesh.pose_solver import composed
from plica.prove.pose_rows import sparse_poses
from plica.rig.expectations import goes_over_everything, swept_strengths
from plica.rig.rig import Expectation, Rig
from plica.rig.strengths import Combine, Driver, Sample
from plica.skeleton.algebra import Quaternion, about, unit

STEPS: Final = 33
"""Poses of a sweep."""
PAIR_STEPS: Final = 5
"""Poses along each of the two strengths of a pair."""
SPREAD: Final = 128
"""Poses spread over the whole range of all drivers at once."""
SEED: Final = 7
_AT_ONCE: Final = 256
"""Frames that are mirrored at once."""


def pair_amounts(pose: int) -> tuple[float, float]:
    """How far each of a pair has come in its pose of this number: there and back, so that each pose is next to one that
    is like it.
    """
    row, column = divmod(pose, PAIR_STEPS)
    return row / (PAIR_STEPS - 1), (column if row % 2 == 0 else PAIR_STEPS - 1 - column) / (PAIR_STEPS - 1)


@dataclass(frozen=True, eq=False)
class PoseTrack:
    """Poses with a name. `places` (frames,): how far along each pose stands, 0..1 of a sweep or seconds of a clip.

    `between` gives the poses at other places; None where there is nothing between two frames.
    """

    name: str
    kind: str
    places: Array
    poses: Poses
    between: Callable[[Array], Poses] | None = None

    @property
    def continuous(self) -> bool:
        """Whether neighbouring frames follow each other in time or along a sweep."""
        return self.kind in ("sweep", "clip")


@dataclass(frozen=True)
class Travelled:
    """What takes a strength from off to on: a reading from `start` to `stop`, or a turn of a joint."""

    touches: frozenset[str]
    pose_at: Callable[[float], SparsePose | None]


class Sweeper:
    """Makes the tracks of one rig; `clips` are tracks by the file that an expectation names."""

    def __init__(
        self,
        rig: Rig,
        clips: Mapping[str, Sequence[PoseTrack]] | None = None,
        extra: Sequence[PoseTrack] = (),
        steps: int = STEPS,
        poses: Mapping[str, PoseTrack] | None = None,
    ) -> None:
        """`extra` are tracks that every expectation goes over as well, `poses` those of declared poses.

        Raises ValueError where the rig refers to something that it does not have."""
        self._rig = rig
        self._skeleton = skeleton_of(rig)
        self._placer = ReadingInverter(rig, self._skeleton)
        self._strengths = {strength.name: strength for strength in rig.strengths}
        self._turns = {
            (field.name, sample.name): (seen_of(field), sample.rotation)
            for field in rig.fields
            for sample in field.samples
        }
        self._clips = dict(clips or {})
        self._extra = tuple(extra)
        self._declared = dict(poses or {})
        self._steps = steps
        self._sweeps: dict[str, PoseTrack] = {}
        self._everything: dict[bool, list[PoseTrack]] = {}
        self._mirror = PoseMirror(rig, self._skeleton, rig.symmetry) if rig.symmetry is not None else None

    def tracks(self, expectation: Expectation) -> list[PoseTrack]:
        """The tracks of an expectation: what `over` lists; everything where it lists nothing.

        `reach` and `smooth` without `over` sweep their own strengths.
        """
        result = [PoseTrack("rest", "rest", np.zeros(1), rest_poses(self._rig))]
        over = swept_strengths(expectation)
        result += [self.sweep(name) for name in over]
        result += self._pairs(over)
        for file in expectation.over_clips:
            result += self._clips.get(file, ())
        result += [self._declared[name] for name in expectation.over_poses if name in self._declared]
        if goes_over_everything(expectation):
            result += self.everything(skin=expectation_kind(expectation.kind).on_skin)
        result += self._extra
        return list({track.name: track for track in result}.values())

    @property
    def unswept(self) -> tuple[str, ...]:
        """The strengths that are left out where everything is gone over for a measure of the skin."""
        return tuple(strength.name for strength in self._rig.strengths if self._reads_gap(strength.name))

    def everything(self, skin: bool = False) -> list[PoseTrack]:
        """Every strength alone, pairs of drivers that share a joint, all at once spread evenly, declared poses, and
        mirrored clips.

        For measures of the `skin`, strengths that read a gap are left out: the joint that would have to be moved to set
        one apart from the others tears the skin. Clips show what such strengths do.
        """
        if skin not in self._everything:
            self._everything[skin] = list(self._all_tracks(self.unswept if skin else ()))
        return self._everything[skin]

    def _all_tracks(self, without: Sequence[str]) -> Iterator[PoseTrack]:
        names = [strength.name for strength in self._rig.strengths if strength.name not in without]
        yield from (self.sweep(name) for name in names)
        yield from self._pairs([name for name in names if isinstance(self._strengths[name], Driver)])
        yield self.spread(names)
        yield from self._declared.values()
        yield from self._mirrored_clips

    @cached_property
    def _mirrored_clips(self) -> list[PoseTrack]:
        return [self._mirrored_track(track) for track in self._extra] if self._mirror is not None else []

    def _mirrored_track(self, track: PoseTrack) -> PoseTrack:
        def between(places: Array) -> Poses:
            assert track.between is not None
            return self._mirrored(track.between(places))

        looked_between = None if track.between is None else between
        poses = self._mirrored(track.poses)
        return PoseTrack(f"{track.name}, mirrored", track.kind, track.places, poses, looked_between)

    # ---- sweeps

    def sweep(self, name: str) -> PoseTrack:
        """One strength from rest, or from where its span starts, to where its span ends.

        A combination is swept by everything that it is made of at once.
        """
        if name in self._sweeps:
            return self._sweeps[name]
        parts = list(self._parts(name))

        def at(places: Array) -> Poses:
            return self._poses([[part.pose_at(place) for part in parts] for place in places.tolist()])

        places = np.linspace(0.0, 1.0, self._steps)
        self._sweeps[name] = PoseTrack(name, "sweep", places, at(places), at)
        return self._sweeps[name]

    def _pairs(self, names: Sequence[str]) -> list[PoseTrack]:
        """Grids over two drivers that move the same joints."""
        parts = {name: next(iter(self._parts(name))) for name in names if isinstance(self._strengths[name], Driver)}
        result = []
        for first, second in combinations(parts, 2):
            if parts[first].touches & parts[second].touches:
                result.append(self._pair(f"{first} and {second}", parts[first], parts[second]))
        return result

    def _pair(self, name: str, first: Travelled, second: Travelled) -> PoseTrack:
        amounts = [pair_amounts(pose) for pose in range(PAIR_STEPS**2)]
        poses = [[first.pose_at(one), second.pose_at(other)] for one, other in amounts]
        return PoseTrack(name, "pair", np.arange(len(poses), dtype=np.float64), self._poses(poses))

    def spread(self, names: Sequence[str], count: int = SPREAD) -> PoseTrack:
        """Drivers and samples all at once, by a Halton sequence (Halton 1960, scrambled with a fixed seed)."""
        from scipy.stats import qmc  # takes a second to load, and only spreads need it

        parts = [part for name in self._leaves(names) for part in self._parts(name)]
        amounts = qmc.Halton(len(parts), scramble=True, seed=SEED).random(count) if parts else np.zeros((count, 0))
        poses = [[part.pose_at(amount) for part, amount in zip(parts, row, strict=True)] for row in amounts.tolist()]
        return PoseTrack("everything at once", "spread", np.arange(count, dtype=np.float64), self._poses(poses))

    def _reads_gap(self, name: str) -> bool:
        strength = self._strengths[name]
        if isinstance(strength, Combine):
            return any(self._reads_gap(part) for part in strengths_of(strength.combination))
        return isinstance(strength, Driver) and kind_of(strength.reading).needs is Needs.CHAIN

    def _leaves(self, names: Sequence[str]) -> list[str]:
        """Drivers and samples; of several readings of one joint the first, so that they do not add up."""
        taken: set[str] = set()
        result = []
        for name in names:
            if isinstance(self._strengths[name], Combine):
                continue
            touches = next(iter(self._parts(name))).touches
            if not touches & taken:
                taken |= touches
                result.append(name)
        return result

    def _poses(self, parts: Sequence[Sequence[SparsePose | None]]) -> Poses:
        poses = [composed(self._rig, self._skeleton, [pose for pose in row if pose is not None]) for row in parts]
        return poses_from(self._rig, poses)

    def _parts(self, name: str) -> Iterator[Travelled]:
        """What has to move for a strength; nothing twice."""
        seen: set[str] = set()

        def walk(result: str) -> Iterator[Travelled]:
            if result in seen:
                return
            seen.add(result)
            strength = self._strengths[result]
            if isinstance(strength, Combine):
                for part in strengths_of(strength.combination):
                    yield from walk(part)
            elif isinstance(strength, Sample):
                yield self._turning(*self._turns[strength.field, strength.sample])
            else:
                yield self._driving(strength)

        yield from walk(name)

    def _driving(self, driver: Driver) -> Travelled:
        start = min(driver.span[0], 0.0) if driver.span[1] > driver.span[0] else max(driver.span[0], 0.0)
        stop = driver.span[1]

        def at(place: float) -> SparsePose | None:
            return self._placer.pose(driver.reading, start + place * (stop - start))

        touched = at(0.5)
        names = set(touched.joints) if touched else set()
        names.update(f"control {control}" for control in controls_of(driver.reading))
        return Travelled(frozenset(names), at)

    def _turning(self, one: SeenFrom, rotation: Quaternion) -> Travelled:
        x, y, z, w = rotation
        size = float(np.sqrt(x * x + y * y + z * z))
        angle = 2.0 * float(np.arctan2(size, w))
        axis = unit((x, y, z)) if size > 0 else (1.0, 0.0, 0.0)

        def at(place: float) -> SparsePose | None:
            return self._placer.turned_as_seen(one, about(axis, place * angle))

        return Travelled(frozenset(self._placer.turned_as_seen(one, rotation).joints), at)

    # ---- mirrored poses

    def mirrored(self, poses: Poses) -> Poses | None:
        """The poses with left and right exchanged; None where no mirror plane is known."""
        return None if self._mirror is None else self._mirrored(poses)

    def _mirrored(self, poses: Poses) -> Poses:
        """A few frames at a time, as single poses take far more memory than rows of numbers."""
        assert self._mirror is not None
        result = rest_poses(self._rig, poses.frames)
        if poses.scales is not None:
            result = replace(result, scales=rest_scales(self._rig, poses.frames))
        for start in range(0, poses.frames, _AT_ONCE):
            part = poses[start : start + _AT_ONCE]
            mirrored = poses_from(self._rig, [self._mirror.pose(pose) for pose in sparse_poses(self._rig, part)])
            result.rotations[start : start + _AT_ONCE] = mirrored.rotations
            result.translations[start : start + _AT_ONCE] = mirrored.translations
            result.controls[start : start + _AT_ONCE] = mirrored.controls
            if result.scales is not None and mirrored.scales is not None:
                result.scales[start : start + _AT_ONCE] = mirrored.scales
        return result
