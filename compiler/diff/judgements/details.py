"""Judgements of details and folds."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from plica.diff.judgement import Judgement, Situation, TableJudgement, always, change_text
from plica.diff.verdicts import BUDGET, STRENGTHS, TEXTURES, Harm, Verdict


def _budget(situation: Situation) -> Iterator[Verdict]:
    field = situation.fields[0]
    raised = field.new is None or (field.old is not None and field.new > field.old)
    harm, word = (Harm.RISKY, "raised") if raised else (Harm.SAFE, "lowered")
    yield Verdict(f"budget-{word}", harm, (BUDGET,), f"budget {word}: {change_text(field, 'bytes')}")


JUDGEMENTS: Final = (
    Judgement("details", ("budget",), _budget),
    always("folds", "follows", "follows", Harm.RISKY, STRENGTHS, TEXTURES),
    always("folds", "tolerance", "mask-tolerance", Harm.RISKY, TEXTURES, BUDGET),
    always("folds", "mask", "mask-place", Harm.RISKY, TEXTURES),
    always("folds", "directions", "direction-map-place", Harm.RISKY, TEXTURES),
)
TABLES: Final = (TableJudgement("details", (TEXTURES,)), TableJudgement("folds", (TEXTURES,)))
