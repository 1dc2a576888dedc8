"""Every expectation of a rig, measured."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from plica.evaluate.poses import rest_poses
from plica.mesh.attach import Attached
from plica.mesh.deform import Deformer, Motion
from plica.prove.gauges import Skin
from plica.prove.results import Result, WorstPlace, judged, not_measured
from plica.prove.skin_runs import BLOCK_BYTES, SkinRuns
from plica.prove.static import moved, partition, uneven_shapes
from plica.prove.strengths import Strengths
from plica.prove.sweeps import GEOMETRIC, Sweeper, Track
from plica.rig.model import Expectation, Rig

NO_MESH: Final = "there is no mesh"
UNSUPPORTED: Final = "masks are measured when the folds are built"

Tell = Callable[[str, int, int], None]
"""Called with what is being measured, how many frames are done, and how many there are."""


@dataclass(frozen=True, eq=False)
class Subject:
    """What is proven: a rig, its mesh (None: only strengths are measured), and clips.

    clips: tracks by the file that `over clip` names; extra: tracks that every expectation goes over as well.
    """

    rig: Rig
    attached: Attached | None = None
    clips: Mapping[str, Sequence[Track]] | None = None
    extra: Sequence[Track] = ()


class Prover:
    """Measures the expectations of one rig, those over the same poses together."""

    def __init__(self, subject: Subject, block_bytes: int = BLOCK_BYTES) -> None:
        """Raises ValueError where the rig refers to something that it does not have."""
        self._rig, self._attached = subject.rig, subject.attached
        self._sweeper = Sweeper(subject.rig, subject.clips, subject.extra)
        self._strengths = Strengths(subject.rig, self._sweeper)
        self._deformer: Deformer | None = None
        self._runs: SkinRuns | None = None
        if subject.attached is not None:
            attached = subject.attached
            self._deformer = Deformer(attached.mesh, subject.rig, attached.shapes)
            bare = Deformer(attached.mesh, subject.rig, {})
            rest = next(bare.positions(rest_poses(subject.rig))).positions[0]
            skin = Skin(subject.rig, attached.mesh, attached.regions, rest)
            self._runs = SkinRuns(skin, self._deformer, block_bytes)

    def results(self, tell: Tell = lambda what, done, whole: None) -> Iterator[Result]:
        """A result for each expectation, as they come; `Result.index` tells their order in the rig."""
        groups: dict[tuple[str, ...], list[tuple[int, Expectation]]] = {}
        tracks: dict[tuple[str, ...], list[Track]] = {}
        for index, expectation in enumerate(self._rig.expectations):
            if expectation.kind not in GEOMETRIC:
                tell(expectation.kind, 0, 0)
                yield self._of_strengths(index, expectation)
            elif self._runs is None:
                yield not_measured(index, expectation, NO_MESH)
            else:
                found = self._sweeper.tracks(expectation)
                key = tuple(track.name for track in found)
                groups.setdefault(key, []).append((index, expectation))
                tracks[key] = found
        yield from self._of_skin(groups, tracks, tell)

    def _of_skin(
        self,
        groups: Mapping[tuple[str, ...], list[tuple[int, Expectation]]],
        tracks: Mapping[tuple[str, ...], list[Track]],
        tell: Tell,
    ) -> Iterator[Result]:
        whole = sum(track.poses.frames for found in tracks.values() for track in found)
        done = 0
        for key, asked in groups.items():
            what = ", ".join(dict.fromkeys(expectation.kind for _, expectation in asked))

            def count(frames: int, what: str = what) -> None:
                nonlocal done
                done += frames
                tell(what, done, whole)

            assert self._runs is not None
            yield from self._runs.measured(asked, tracks[key], count)

    def _of_strengths(self, index: int, expectation: Expectation) -> Result:
        kind, attached = expectation.kind, self._attached
        if kind in ("budget", "overlap"):
            return not_measured(index, expectation, UNSUPPORTED)
        if kind == "rest":
            return self._rest(index, expectation)
        if kind in ("partition", "moved"):
            if attached is None:
                return not_measured(index, expectation, NO_MESH)
            if kind == "moved":
                return moved(index, expectation, attached)
            return partition(index, expectation, self._rig, attached)
        tracks = self._sweeper.tracks(expectation)
        if kind == "reach":
            return self._strengths.reach(index, expectation, tracks)
        if kind == "smooth":
            return self._strengths.smooth(index, expectation, tracks)
        return self._even(index, expectation, tracks)

    def _rest(self, index: int, expectation: Expectation) -> Result:
        """Strengths are 0, and no vertex is moved by a shape."""
        result = self._strengths.rest(index, expectation)
        if result.status != "holds" or self._deformer is None or self._attached is None:
            return result
        motion = self._deformer.motion(rest_poses(self._rig))
        shaped = next(self._deformer.positions(motion)).positions[0]
        bare = next(self._deformer.positions(Motion(np.zeros_like(motion.strengths), motion.skins))).positions[0]
        distances = np.linalg.norm(shaped - bare, axis=1)
        worst = int(distances.argmax())
        if distances[worst] == 0.0:
            return result
        x, y, z = bare[worst].tolist()
        place = WorstPlace("", worst, "", (x, y, z))
        return judged(index, expectation, float(distances[worst]), frames=1, place=place, about="a vertex moves")

    def _even(self, index: int, expectation: Expectation, tracks: Sequence[Track]) -> Result:
        """Strengths first; then shapes, whose figure is a share of their longest offset."""
        result = self._strengths.even(index, expectation, tracks)
        if self._attached is None or result.status == "not measured":
            return result
        worst, about = uneven_shapes(self._rig, self._attached)
        if result.worst is not None and worst <= result.worst:
            return result
        return judged(index, expectation, worst, frames=result.frames, about=about)
