"""Expectations proven for an editor: in the background, and what became of them until what they hang on changes."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from plica.api.proving_texts import FactStatus, ProofAnswer, ProofJob, ProvenFact, TextPlace, TextProver
from plica.editor.node_search import blocks
from plica.editor.open_documents import Analysis
from plica.rig.rig import Rig
from plica.syntax import nodes

_WORST_FIRST: tuple[FactStatus, ...] = ("fails", "unknown", "holds")


class FactKey(NamedTuple):
    """What an expectation is known by while the text around it changes: its file, its words, which one with these."""

    path: str
    words: str
    number: int


class ExpectBlock(NamedTuple):
    """An `expect` of a text: where it begins, and its facts with their places."""

    start: int
    facts: tuple[tuple[FactKey, TextPlace], ...]


class ProofStanding(NamedTuple):
    """What is known of an expectation; `stale`: what it hangs on is not what it was."""

    status: FactStatus
    figure: str
    table: str
    stale: bool


class _KeptProof(NamedTuple):
    fact: ProvenFact
    answer: ProofAnswer
    rig: Rig


class StoppedError(Exception):
    """Somebody stopped the measuring."""


class Proofs:
    """All that was proven for one editor. One proof runs at a time, in a process of its own; others wait."""

    def __init__(self) -> None:
        self._prover = TextProver()
        self._turn = asyncio.Lock()
        self._kept: dict[FactKey, _KeptProof] = {}
        self._running: dict[FactKey, object] = {}

    async def prove(self, around: Analysis, block: ExpectBlock, job: ProofJob) -> ProofAnswer:
        """Measure the expectations of a block. Raises StoppedError."""
        asked = object()
        self._running.update((key, asked) for key, _ in block.facts)
        try:
            async with self._turn:
                self._heed(block, asked)
                answer = await asyncio.get_running_loop().run_in_executor(None, self._prover.prove, job)
                self._heed(block, asked)
        finally:
            for key, _ in block.facts:
                if self._running.get(key) is asked:
                    del self._running[key]
        if answer is None:
            raise StoppedError
        proven = {fact.place: fact for fact in answer.facts}
        for key, place in block.facts:
            self._kept.pop(key, None)
            if place in proven and around.own_rig is not None:
                self._kept[key] = _KeptProof(proven[place], answer, around.own_rig)
        return answer

    def _heed(self, block: ExpectBlock, asked: object) -> None:
        if any(self._running.get(key) is not asked for key, _ in block.facts):
            raise StoppedError

    def stop(self, block: ExpectBlock) -> None:
        """Stop measuring a block; figures that were measured are kept and not measured again."""
        stopped = [self._running.pop(key, None) for key, _ in block.facts]
        if any(stopped):
            self._prover.end()

    def end(self) -> None:
        """Stop everything."""
        self._running.clear()
        self._prover.end()

    def is_running(self, block: ExpectBlock) -> bool:
        """Whether a block is being measured, or waits for its turn."""
        return any(key in self._running for key, _ in block.facts)

    def standing(self, around: Analysis, key: FactKey) -> ProofStanding | None:
        """What is known of an expectation; None where it was not proven."""
        kept = self._kept.get(key)
        if kept is None:
            return None
        stale = kept.rig != around.own_rig or not kept.answer.is_current
        return ProofStanding(kept.fact.status, kept.fact.figure, kept.fact.table, stale)

    def of_block(self, around: Analysis, block: ExpectBlock) -> ProofStanding | None:
        """The worst of what is known of a block's expectations; None unless all of them were proven."""
        known = [self.standing(around, key) for key, _ in block.facts]
        if not known or any(one is None for one in known):
            return None
        told = [one for one in known if one is not None]
        worst = min(told, key=lambda one: _WORST_FIRST.index(one.status))
        return worst._replace(stale=any(one.stale for one in told))


def expect_blocks(own: nodes.Document) -> list[ExpectBlock]:
    """The `expect` declarations of a text, those of families included."""
    return list(_expect_blocks(own))


def _expect_blocks(own: nodes.Document) -> Iterator[ExpectBlock]:
    path, text = own.source.path, own.source.text
    met: dict[str, int] = {}
    for block in blocks(own.declarations):
        if isinstance(block, nodes.Block) and block.kind == "expect":
            facts = []
            for fact in block.facts:
                words = " ".join(text[fact.start : fact.end].split())
                met[words] = met.get(words, -1) + 1
                facts.append((FactKey(path, words, met[words]), TextPlace(path, fact.start, fact.end)))
            yield ExpectBlock(block.start, tuple(facts))


def job_of(around: Analysis, block: ExpectBlock, texts: dict[str, str], clips: Sequence[str]) -> ProofJob:
    """What proving a block takes: the spec that gives it its meaning, as it stands in the editor."""
    places = tuple(place for _, place in block.facts)
    return ProofJob(around.source.path, around.source.text, texts, places, around.allowed, tuple(clips))
