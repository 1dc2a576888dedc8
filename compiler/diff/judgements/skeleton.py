"""Judgements of joints, of the mirror plane, and of what clips call joints."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from plica.diagnostics.place import counted
from plica.diff.judgement import Judgement, Situation, TableJudgement, always, came_or_went
from plica.diff.renamed_alike import JOINTS
from plica.diff.verdicts import GEOMETRY, NAMES, STRENGTHS, Harm, Verdict


def _plane(situation: Situation) -> Verdict:
    return Verdict("plane", Harm.RISKY, (STRENGTHS, GEOMETRY), f"the mirror plane was {situation.fact.what}")


def _alias(situation: Situation) -> Verdict:
    return came_or_went(situation, (STRENGTHS,), removed=Harm.RISKY)


def _other_names(situation: Situation) -> Iterator[Verdict]:
    """Of many joints at once; what finds joints by name, as clips do, does not find these."""
    count = len(situation.fields)
    yield Verdict("joints-renamed", Harm.BREAKING, (NAMES,), f"{counted(count, 'joint')} renamed, all frames the same")


JUDGEMENTS: Final = (
    Judgement("skeleton", (JOINTS,), _other_names),
    always("skeleton", "skinned", "skinned", Harm.RISKY, GEOMETRY),
    always("symmetry", "found", "plane-stated", Harm.COSMETIC, GEOMETRY),
)
TABLES: Final = (
    TableJudgement("skeleton", (STRENGTHS, GEOMETRY)),
    TableJudgement("symmetry", (STRENGTHS, GEOMETRY), _plane),
    TableJudgement("aliases", (STRENGTHS,), _alias),
)
