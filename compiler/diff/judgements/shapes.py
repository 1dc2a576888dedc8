"""Judgements of shapes, of their computed offsets, and of poses."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest
from typing import Final

from plica.diff.judgement import Judgement, Situation, TableJudgement, always, values_text
from plica.diff.offset_moves import moved_text
from plica.diff.pose_text import pose_change
from plica.diff.sculpt_strengths import POSED_STRENGTH
from plica.diff.value_text import ARROW, text_of
from plica.diff.verdicts import GEOMETRY, NAMES, STRENGTHS, Harm, Verdict
from plica.quantities import changed
from plica.rig.surfaces import Inbetween, Morph, Sculpt
from plica.values import DraftFacts


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


def _source(situation: Situation) -> Iterator[Verdict]:
    """What was sculpted and in which pose, in words."""
    text, exact = _source_change(situation.fact.old.source, situation.fact.new.source)
    yield Verdict("source", Harm.RISKY, (GEOMETRY,), text or values_text(situation), exact)


def _source_change(old: Sculpt | Morph | None, new: Sculpt | Morph | None) -> tuple[str, str]:
    if not (isinstance(old, Sculpt) and isinstance(new, Sculpt)):
        return f"{_source_text(old)} {ARROW} {_source_text(new)}", ""
    said, exact = [], ""
    if old.file != new.file:
        said.append(f"sculpt {old.file} {ARROW} {new.file}")
    if old.pose != new.pose:
        text, exact = pose_change(old.pose, new.pose)
        said.append(f"said to be sculpted in another pose: {text}")
    if old.after != new.after:
        said.append(f"sculpted over {', '.join(old.after) or 'no shape'} {ARROW} {', '.join(new.after) or 'no shape'}")
    return ", ".join(said), exact


def _source_text(source: Sculpt | Morph | None) -> str:
    match source:
        case None:
            return "nothing sculpted yet"
        case Morph():
            return f"morph {source.name}"
        case Sculpt():
            return f"sculpt {text_of(source)}"


def _posed_strength(situation: Situation) -> Iterator[Verdict]:
    for field in situation.fields:
        old, new = field.old, field.new
        was = (
            f"{changed(old.amount)} before"
            if old.strength == new.strength
            else f"{old.strength} {changed(old.amount)} before"
        )
        text = f"where {new.sculpt} was sculpted, {new.strength} is {changed(new.amount)} now ({was})"
        yield Verdict("posed-strength", Harm.RISKY, (GEOMETRY,), text)


def _draft(situation: Situation) -> Iterator[Verdict]:
    """Nothing moves by it until the sculpt is drafted again."""
    old, new = (entry.draft or DraftFacts() for entry in (situation.fact.old, situation.fact.new))
    said = [
        f"{name} {_wish(name, before)} {ARROW} {_wish(name, after)}"
        for name, before, after in zip(DraftFacts._fields, old, new, strict=True)
        if before != after
    ]
    yield Verdict("draft", Harm.SAFE, (GEOMETRY,), f"the next draft: {', '.join(said)}")


def _wish(name: str, value: float | None) -> str:
    return "as usual" if value is None else changed(value, {"volume": "%", "border": "mm", "gap": "mm"}.get(name, ""))


JUDGEMENTS: Final = (
    Judgement("shapes", ("source",), _source),
    Judgement("shapes", ("inbetweens",), _inbetweens),
    Judgement("shapes", (POSED_STRENGTH,), _posed_strength),
    Judgement("shapes", ("draft",), _draft),
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
