"""Proving one character again after every change: what does not hang on it is neither computed nor shown again."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from plica.api.character import Character
from plica.api.proving import ProofReport, measured, tell_unswept
from plica.api.subject import subject_of
from plica.diagnostics import Diagnostics
from plica.diagnostics.place import counted
from plica.mesh.computed_cache import ComputedCache
from plica.prove.cache.disk import DiskCache
from plica.prove.kept_masks import KeptMasks
from plica.prove.prover import Prover
from plica.prove.report import summary
from plica.prove.results import Result
from plica.prove.subject import ExtraClips
from plica.workspace import Workspace

_TOLD: Final = {"holds": "hold", "fails": "fail", "not measured": "not measured"}


class Reproof(NamedTuple):
    """A proof after a change.

    touched: those results of the report that are made of something else than in the last whole proof, or came out
    otherwise; all of them where there was none.
    """

    report: ProofReport
    touched: tuple[Result, ...]

    def text(self, width: int | None = None, colour: bool = False) -> str:
        """A table of the touched ones for people; width: columns at most, None for as many as it needs."""
        return summary.text(self.touched, {}, width, colour)

    @property
    def summary(self) -> str:
        """How many hang on what changed, and how the others stand, which came out as they were."""
        report, touched = self.report, {one.index for one in self.touched}
        if not report.results:
            return "nothing was measured" if not report.ok else "there is no expectation to measure"
        others: list[str] = [one.status for one in report.results if one.index not in touched]
        told = [f"{count} {word}" for status, word in _TOLD.items() if (count := others.count(status))]
        rest = f"; of the other {len(others)}, as before: {', '.join(told)}" if others else ""
        whole = counted(len(report.results), "expectation")
        return f"{len(touched)} of {whole} measured for what was saved{rest}; {report.seconds:.2f} s"


class _Basis(NamedTuple):
    """A result as far as it is told, and digests of all that went into its figures."""

    told: tuple[object, ...]
    hangs_on: tuple[str, ...]


@dataclass(eq=False)
class Reprover:
    """Proves the character of one spec again and again, and remembers what it computed on the mesh.

    store: where figures are kept, None for nowhere; then every result on the skin counts as touched.
    """

    store: DiskCache | None
    clips: Sequence[str] = ()
    workers: int | None = None
    memory: ComputedCache = field(default_factory=ComputedCache)
    _masks: KeptMasks = field(default_factory=KeptMasks)
    _last: dict[tuple[str, int], _Basis] = field(default_factory=dict)

    def prove(self, character: Character, progress: Callable[[str], None] = lambda step: None) -> Reproof:
        """Measure every expectation; what is raised by `progress` ends it, and the last whole proof stays the last."""
        diagnostics, begun = Diagnostics(), time.perf_counter()
        workspace = Workspace(character.folder, character.allow)
        motion = ExtraClips(self.clips)
        subject = subject_of(character, workspace, motion, diagnostics, progress, self.memory, self._masks)
        if subject is None:
            return Reproof(ProofReport(character, (), diagnostics.all), ())
        prover, results, incomplete = measured(subject, self.store, self.workers, None, progress, diagnostics)
        tell_unswept(prover, character, diagnostics)
        seconds = time.perf_counter() - begun
        whole = tuple(results)
        report = ProofReport(character, whole, diagnostics.all, {}, incomplete, prover.tally, self.store, seconds)
        return Reproof(report, whole if incomplete else self._touched(whole, prover))

    def _touched(self, results: Sequence[Result], prover: Prover) -> tuple[Result, ...]:
        before, self._last = self._last, {}
        touched = []
        for result in results:
            same_title = sum(title == result.title for title, _ in self._last)
            basis = self._last[result.title, same_title] = _basis(result, prover)
            of_skin_unknown = result.bare is not None and not basis.hangs_on
            if of_skin_unknown or basis != before.get((result.title, same_title)):
                touched.append(result)
        return tuple(touched)


def _basis(result: Result, prover: Prover) -> _Basis:
    place = None if result.place is None else (result.place.region, result.place.vertex)
    told = (result.status, result.worst, result.limit, result.bare, result.frames, result.about, place)
    return _Basis(told, prover.hangs_on(result.index))
