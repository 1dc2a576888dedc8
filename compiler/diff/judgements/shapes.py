"""Judgements of shapes, of their computed offsets, and of poses."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from plica.diff.judgement import Judgement, Situation, TableJudgement, always
from plica.diff.offset_moves import moved_text
from plica.diff.pose_text import pose_change
from plica.diff.verdicts import GEOMETRY, NAMES, STRENGTHS, Harm, Verdict


def _moved(situation: Situation) -> Iterator[Verdict]:
    fact = situation.fact
    yield Verdict("offsets-moved", Harm.RISKY, (GEOMETRY,), moved_text(fact.old, fact.new))


def _pose(situation: Situation) -> Iterator[Verdict]:
    field = situation.fields[0]
    yield Verdict("pose", Harm.RISKY, (GEOMETRY,), *pose_change(field.old, field.new))


def _offsets(situation: Situation) -> Verdict:
    return Verdict("offsets", Harm.RISKY, (GEOMETRY,), f"the computed offsets were {situation.fact.what}")


JUDGEMENTS: Final = (
    always("shapes", "follows", "follows", Harm.RISKY, STRENGTHS, GEOMETRY),
    Judgement("offsets", ("vertices", "bytes", "largest", "listed", "inbetweens"), _moved),
    always("offsets", "file", "offsets-file", Harm.BREAKING, NAMES, GEOMETRY),
    always("offsets", "vertex_count", "vertex-count", Harm.BREAKING, GEOMETRY),
    always("offsets", "parts", "vertex-numbers", Harm.BREAKING, GEOMETRY),
    always("offsets", "fingerprint", "mesh", Harm.RISKY, GEOMETRY),
    always("offsets", "joint", "nearest-joint", Harm.COSMETIC, GEOMETRY),
    Judgement("poses", ("items",), _pose),
)
TABLES: Final = (
    TableJudgement("shapes", (GEOMETRY,)),
    TableJudgement("offsets", (GEOMETRY,), _offsets),
    TableJudgement("poses", (GEOMETRY,)),
)
