"""Judgements of expectations: whether less must hold now than before."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from plica.diff.judgement import Judgement, Situation, TableJudgement
from plica.diff.pose_text import over_text, sweeps_less
from plica.diff.value_text import ARROW, amount, unit_of
from plica.diff.verdicts import GEOMETRY, Harm, Verdict
from plica.kinds.expectations import expectation_kind


def _limit(situation: Situation) -> Iterator[Verdict]:
    fact, field = situation.fact, situation.fields[0]
    unit = unit_of(fact.table, "limit", fact.new)
    text = f"{amount(field.old, unit)} {ARROW} {amount(field.new, unit)}"
    if field.old is None or field.new is None:
        yield Verdict("limit", Harm.RISKY, (GEOMETRY,), f"limit {text}")
        return
    worse = expectation_kind(fact.new.kind).worse
    if worse.badness(field.new) > worse.badness(field.old):
        yield Verdict("expectation-loosened", Harm.RISKY, (GEOMETRY,), f"EXPECTATION LOOSENED: {text}")
    else:
        yield Verdict("expectation-tightened", Harm.SAFE, (GEOMETRY,), f"tightened: {text}")


def _poses(situation: Situation) -> Iterator[Verdict]:
    old, new = situation.fact.old, situation.fact.new
    text = f"over {over_text(old)} {ARROW} {over_text(new)}"
    if sweeps_less(old, new):
        text = f"EXPECTATION LOOSENED: fewer poses: {text}"
        yield Verdict("expectation-loosened", Harm.RISKY, (GEOMETRY,), text)
    else:
        yield Verdict("expectation", Harm.SAFE, (GEOMETRY,), text)


def _uv(situation: Situation) -> Iterator[Verdict]:
    items = (situation.fact.old, situation.fact.new)
    old, new = (f"uv {item.uv}" if item.uv else "the surface at rest" for item in items)
    text = f"EXPECTATION CHANGED: measured against {old} {ARROW} {new}: its limit means something else now"
    yield Verdict("expectation-measure", Harm.RISKY, (GEOMETRY,), text)


def _border(situation: Situation) -> Iterator[Verdict]:
    fact, field = situation.fact, situation.fields[0]
    kind = expectation_kind(fact.new.kind)
    usual = "by weight" if kind.border is None else amount(kind.border, "%")
    old, new = (usual if value is None else amount(value, "%") for value in (field.old, field.new))
    text = f"EXPECTATION CHANGED: border of the region {old} {ARROW} {new}: its limit means something else now"
    yield Verdict("expectation-measure", Harm.RISKY, (GEOMETRY,), text)


def _share(situation: Situation) -> Iterator[Verdict]:
    field = situation.fields[0]
    old, new = (1.0 if value is None else value for value in (field.old, field.new))
    before, after = ("everywhere" if value is None else f"on {amount(value, '%')}" for value in (field.old, field.new))
    text = f"{before} {ARROW} {after}"
    if new < old or field.old is None:
        yield Verdict("expectation-loosened", Harm.RISKY, (GEOMETRY,), f"EXPECTATION LOOSENED: {text}")
    else:
        yield Verdict("expectation-tightened", Harm.SAFE, (GEOMETRY,), f"tightened: {text}")


def _whole(situation: Situation) -> Verdict:
    if situation.fact.what == "added":
        return Verdict("expectation-added", Harm.SAFE, (GEOMETRY,), "one more thing must hold")
    text = "EXPECTATION DROPPED: this need not hold now"
    return Verdict("expectation-dropped", Harm.RISKY, (GEOMETRY,), text)


JUDGEMENTS: Final = (
    Judgement("expectations", ("limit",), _limit),
    Judgement("expectations", ("over", "over_clips", "over_poses", "over_everything"), _poses),
    Judgement("expectations", ("uv",), _uv),
    Judgement("expectations", ("border",), _border),
    Judgement("expectations", ("share",), _share),
)
TABLES: Final = (TableJudgement("expectations", (GEOMETRY,), _whole),)
