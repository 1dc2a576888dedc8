"""Judgements of joints, of the mirror plane, and of what clips call joints."""

from __future__ import annotations

from typing import Final

from plica.diff.judgement import Situation, TableJudgement, always, came_or_went
from plica.diff.verdicts import GEOMETRY, STRENGTHS, Harm, Verdict


def _plane(situation: Situation) -> Verdict:
    return Verdict("plane", Harm.RISKY, (STRENGTHS, GEOMETRY), f"the mirror plane was {situation.fact.what}")


def _alias(situation: Situation) -> Verdict:
    return came_or_went(situation, (STRENGTHS,), removed=Harm.RISKY)


JUDGEMENTS: Final = (
    always("skeleton", "skinned", "skinned", Harm.RISKY, GEOMETRY),
    always("symmetry", "found", "plane-stated", Harm.COSMETIC, GEOMETRY),
)
TABLES: Final = (
    TableJudgement("skeleton", (STRENGTHS, GEOMETRY)),
    TableJudgement("symmetry", (STRENGTHS, GEOMETRY), _plane),
    TableJudgement("aliases", (STRENGTHS,), _alias),
)
