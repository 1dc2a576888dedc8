"""Judgements of regions, which reach what uses them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from plica.diff.judgement import ANY, Judgement, Situation, TableJudgement, came_or_went, values_text
from plica.diff.verdicts import GEOMETRY, Harm, Verdict


def _field(situation: Situation) -> Iterator[Verdict]:
    reaches = situation.uses.reaches_of_region(situation.fact.name)
    yield Verdict(f"region-{situation.fields[0].first}", Harm.RISKY, reaches, values_text(situation))


def _whole(situation: Situation) -> Verdict:
    return came_or_went(situation, situation.uses.reaches_of_region(situation.fact.name))


JUDGEMENTS: Final = (Judgement("regions", (ANY,), _field),)
TABLES: Final = (TableJudgement("regions", (GEOMETRY,), _whole),)
