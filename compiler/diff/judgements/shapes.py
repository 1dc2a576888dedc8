"""Judgements of shapes, of their computed offsets, and of poses."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest
from typing import Final

from plica.diff.judgement import Judgement, Situation, TableJudgement, always
from plica.diff.offset_moves import moved_text
from plica.diff.pose_text import pose_change
from plica.diff.value_text import ARROW, text_of
from plica.diff.verdicts import GEOMETRY, NAMES, STRENGTHS, Harm, Verdict
from plica.quantities import changed
from plica.rig.surfaces import Inbetween


def _sculpt(situation: Situation) -> Iterator[Verdict]:
    old, new = situation.fact.old.source, situation.fact.new.source
    yield Verdict("source", Harm.RISKY, (GEOMETRY,), f"sculpt {text_of(old)} {ARROW} {text_of(new)}")


def _inbetweens(situation: Situation) -> Iterator[Verdict]:
    """In the words in which they are written: the strength, the sculpt and its pose."""
    old, new = situation.fact.old.inbetweens, situation.fact.new.inbetweens
    pairs = [(one, other) for one, other in zip_longest(old, new) if one != other]
    said = [f"inbetween {_inbetween(one)} {ARROW} {_inbetween(other)}" for one, other in pairs]
    yield Verdict("inbetweens", Harm.RISKY, (GEOMETRY,), "; ".join(said))


def _inbetween(item: Inbetween | None) -> str:
    return "none" if item is None else f"{changed(item.at)} {text_of(item.sculpt)}"


def _moved(situation: Situation) -> Iterator[Verdict]:
    fact = situation.fact
    yield Verdict("offsets-moved", Harm.RISKY, (GEOMETRY,), moved_text(fact.old, fact.new))


def _pose(situation: Situation) -> Iterator[Verdict]:
    field = situation.fields[0]
    yield Verdict("pose", Harm.RISKY, (GEOMETRY,), *pose_change(field.old, field.new))


def _offsets(situation: Situation) -> Verdict:
    return Verdict("offsets", Harm.RISKY, (GEOMETRY,), f"the computed offsets were {situation.fact.what}")


JUDGEMENTS: Final = (
    Judgement("shapes", ("source",), _sculpt),
    Judgement("shapes", ("inbetweens",), _inbetweens),
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
