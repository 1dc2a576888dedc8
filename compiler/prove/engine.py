"""Every expectation of a rig, measured."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from plica.evaluate.poses import rest_poses
from plica.mesh.attach import Attached
from plica.mesh.deform import Deformer, Motion
from plica.mesh.region_sources import Read
from plica.prove.crew import Hire, LocalCrew
from plica.prove.folds import Folds
from plica.prove.gauges import Skin
from plica.prove.kept import KeptFigures
from plica.prove.results import Result, WorstPlace, judged, not_measured
from plica.prove.skin_runs import Done, SkinRuns, Tally, Tell
from plica.prove.static import moved, partition, uneven_shapes
from plica.prove.store import Store
from plica.prove.strengths import Strengths
from plica.prove.sweeps import GEOMETRIC, Sweeper, Track
from plica.prove.units import BLOCK_BYTES, material_of
from plica.rig.model import Expectation, Rig

NO_MESH: Final = "there is no mesh"


@dataclass(frozen=True, eq=False)
class Subject:
    """What is proven: a rig, its mesh (None: only strengths are measured), and clips.

    clips: tracks by the file that `over clip` names; poses: tracks by the pose that `over pose` names; extra: tracks
    that every expectation goes over as well; read: gives the files that the spec names, for masks.
    """

    rig: Rig
    attached: Attached | None = None
    clips: Mapping[str, Sequence[Track]] | None = None
    extra: Sequence[Track] = ()
    poses: Mapping[str, Track] | None = None
    read: Read | None = None


class Prover:
    """Measures the expectations of one rig, those over the same poses together."""

    def __init__(
        self, subject: Subject, block_bytes: int = BLOCK_BYTES, hire: Hire = LocalCrew, store: Store | None = None
    ) -> None:
        """`hire` makes the crew that measures the skin, `store` is the cache, None for none.

        Raises ValueError where the rig refers to something that it does not have."""
        self._rig, self._attached = subject.rig, subject.attached
        self._sweeper = Sweeper(subject.rig, subject.clips, subject.extra, poses=subject.poses)
        self._strengths = Strengths(subject.rig, self._sweeper)
        self._deformer: Deformer | None = None
        self._folds = Folds(subject.rig, subject.attached, subject.read) if subject.attached is not None else None
        self._runs: SkinRuns | None = None
        self._hire, self._store = hire, store
        if subject.attached is not None:
            attached = subject.attached
            self._deformer = Deformer(attached.mesh, subject.rig, attached.shapes)
            bare = Deformer(attached.mesh, subject.rig, {})
            rest = next(bare.positions(rest_poses(subject.rig))).positions[0]
            self._material = material_of(subject.rig, attached, rest, block_bytes)
            skin = Skin(subject.rig, attached.mesh, attached.regions, rest)
            self._runs = SkinRuns(skin, self._deformer, KeptFigures(store, self._material), block_bytes)

    @property
    def tally(self) -> Tally:
        """How many figures of the skin were taken from the cache, and how many were measured, up to now."""
        return self._runs.tally if self._runs is not None else Tally(0, 0)

    @property
    def unswept(self) -> Mapping[int, tuple[str, ...]]:
        """Strengths that an expectation, by its number, would go over and cannot, because they read a gap."""
        names = self._sweeper.unswept
        found = {}
        for index, expectation in enumerate(self._rig.expectations):
            if names and expectation.kind in GEOMETRIC and self._sweeper.goes_over_everything(expectation):
                found[index] = names
        return found

    def results(self, tell: Tell = lambda done: None) -> Iterator[Result]:
        """A result for each expectation, as they come; `Result.index` tells their order in the rig.

        Raises LostWorkersError where those who measure went away.
        """
        of_skin: list[tuple[int, Expectation]] = []
        for index, expectation in enumerate(self._rig.expectations):
            if expectation.kind not in GEOMETRIC:
                tell(Done(expectation.kind, 0, 0, 0))
                yield self._of_strengths(index, expectation)
            elif self._runs is None:
                yield not_measured(index, expectation, NO_MESH)
            else:
                of_skin.append((index, expectation))
        if of_skin:
            yield from self._of_skin(of_skin, tell)

    def _of_skin(self, asked: Sequence[tuple[int, Expectation]], tell: Tell) -> Iterator[Result]:
        assert self._runs is not None
        tracks = {index: self._sweeper.tracks(expectation) for index, expectation in asked}
        crew = self._hire(self._material)
        try:
            yield from self._runs.measured(asked, tracks, crew, tell)
        finally:
            crew.close()
            if self._store is not None:
                self._store.trim()

    def _of_strengths(self, index: int, expectation: Expectation) -> Result:
        kind, attached = expectation.kind, self._attached
        if kind in ("budget", "overlap"):
            return self._of_folds(index, expectation)
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

    def _of_folds(self, index: int, expectation: Expectation) -> Result:
        if self._folds is None:
            return not_measured(index, expectation, NO_MESH)
        if expectation.kind == "budget":
            return self._folds.budget(index, expectation)
        return self._folds.overlap(index, expectation, self._sweeper.tracks(expectation))

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
