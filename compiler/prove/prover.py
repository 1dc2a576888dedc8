"""Every expectation of a rig, measured."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from plica.prove.cache.disk import DiskCache
from plica.prove.cache.figures import CachedFigures
from plica.prove.execution.executor import LocalExecutor, MakeExecutor
from plica.prove.execution.skin_runs import Progress, SkinRuns, Tally, Tell
from plica.prove.execution.work import BLOCK_BYTES, material_of
from plica.prove.proof import Proof, ProofSubject
from plica.prove.registry import DirectMeasure, measures
from plica.prove.results import NO_MESH, Result, not_measured
from plica.prove.skin import Skin
from plica.rig.expectations import goes_over_everything
from plica.rig.rig import Expectation


class Prover:
    """Measures the expectations of one rig, those over the same poses together."""

    def __init__(
        self,
        subject: ProofSubject,
        block_bytes: int = BLOCK_BYTES,
        hire: MakeExecutor = LocalExecutor,
        store: DiskCache | None = None,
    ) -> None:
        """`hire` makes the crew that measures the skin, `store` is the cache, None for none.

        Raises ValueError where the rig refers to something that it does not have."""
        self._proof = Proof(subject)
        self._runs: SkinRuns | None = None
        self._hire, self._store = hire, store
        self._measures = measures()
        deformer = self._proof.deformer
        if subject.attached is not None and deformer is not None:
            attached, rest = subject.attached, self._proof.rest
            self._material = material_of(subject.rig, attached, rest, block_bytes)
            skin = Skin(subject.rig, attached.mesh, attached.regions, rest, symmetry=self._material.symmetry)
            self._runs = SkinRuns(skin, deformer, CachedFigures(store, self._material), block_bytes)

    @property
    def proof(self) -> Proof:
        """What the measures share: what one of them has made is there for others."""
        return self._proof

    @property
    def tally(self) -> Tally:
        """How many figures of the skin were taken from the cache, and how many were measured, up to now."""
        return self._runs.tally if self._runs is not None else Tally(0, 0)

    def hangs_on(self, index: int) -> tuple[str, ...]:
        """What the result of an expectation on the skin hangs on, by its number, as digests of all that goes in; empty
        before it is measured, without a store, and for what is not measured on the skin."""
        return self._runs.kept.asked(index) if self._runs is not None else ()

    @property
    def unswept(self) -> Mapping[int, tuple[str, ...]]:
        """Strengths that an expectation, by its number, would go over and cannot, because they read a gap."""
        names = self._proof.sweeper.unswept
        return {
            index: names
            for index, expectation in enumerate(self._proof.rig.expectations)
            if names and self._on_skin(expectation) and goes_over_everything(expectation)
        }

    def results(self, tell: Tell = lambda done: None) -> Iterator[Result]:
        """A result for each expectation, as they come; `Result.index` tells their order in the rig.

        Raises LostWorkersError where those who measure went away.
        """
        of_skin: list[tuple[int, Expectation]] = []
        for index, expectation in enumerate(self._proof.rig.expectations):
            measure = self._measures[expectation.kind]
            if isinstance(measure, DirectMeasure):
                tell(Progress(expectation.kind, 0, 0, 0))
                yield measure.judge(self._proof, index, expectation)
            elif self._runs is None:
                yield not_measured(index, expectation, NO_MESH)
            else:
                of_skin.append((index, expectation))
        if of_skin:
            yield from self._of_skin(of_skin, tell)

    def _on_skin(self, expectation: Expectation) -> bool:
        return not isinstance(self._measures[expectation.kind], DirectMeasure)

    def _of_skin(self, asked: Sequence[tuple[int, Expectation]], tell: Tell) -> Iterator[Result]:
        assert self._runs is not None
        tracks = {index: self._proof.tracks(expectation) for index, expectation in asked}
        crew = self._hire(self._material)
        try:
            yield from self._runs.measured(asked, tracks, crew, tell)
        finally:
            crew.close()
            if self._store is not None:
                self._store.trim()
