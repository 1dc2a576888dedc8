"""Judgements of controls, fields and strengths: what a change does to a strength is computed, where it can be."""

from __future__ import annotations

from collections.abc import Iterator
from math import atan2, hypot, isfinite
from typing import Final

from plica.diff.effects import Effect, combine_effect, same_sources
from plica.diff.facts import Difference
from plica.diff.judgement import Judgement, Situation, TableJudgement, always, came_or_went
from plica.diff.reached_strengths import SMALL
from plica.diff.strength_change import NOTHING, poses_text
from plica.diff.value_text import ARROW, amount, text_of, unit_of_reading
from plica.diff.verdicts import STRENGTHS, Harm, Verdict
from plica.quantities import changed
from plica.rig.entry_text import quantity_text, reading_text, span_text
from plica.rig.strengths import Driver, Field
from plica.skeleton.algebra import Quaternion, conjugate, multiply

RESPONSE: Final = ("reading", "span", "clamped", "curve")
"""The fields of a driver that make its strength."""


def _response(situation: Situation) -> Iterator[Verdict]:
    old, new, effect = situation.fact.old, situation.fact.new, situation.effect
    firsts = list(dict.fromkeys(field.first for field in situation.fields))
    rule, text = "-and-".join(firsts), ", ".join(_part_text(first, old, new) for first in firsts)
    exact = f"{reading_text(old.reading)} {ARROW} {reading_text(new.reading)}" if "reading" in firsts else ""
    if effect is None:
        yield Verdict(rule, Harm.RISKY, (STRENGTHS,), f"{text}: cannot be compared", exact)
        return
    harm = _harm_of(effect)
    if not effect.same_reading:
        # Poses were tried, which proves a difference but never that there is none.
        harm = min(harm, Harm.SAFE if same_sources(old.reading, new.reading) else Harm.RISKY)
    said = effect_text(effect, unit_of_reading(old.reading), unit_of_reading(new.reading))
    yield Verdict(rule, harm, (STRENGTHS,), f"{text}: {said}", exact)


def _part_text(field: str, old: Driver, new: Driver) -> str:
    if field == "reading":
        before, after = quantity_text(old.reading), quantity_text(new.reading)
        return f"reads {before} {ARROW} {after}" if before != after else "reads about another axis"
    if field == "span":
        before, after = (span_text(driver.reading, driver.span) for driver in (old, new))
    elif field == "clamped":
        return "kept between 0 and 1 now" if new.clamped else "not kept between 0 and 1 any more"
    else:
        before, after = (text_of(getattr(driver, field)) for driver in (old, new))
    return f"{field} {before} {ARROW} {after}"


def _harm_of(effect: Effect) -> Harm:
    if effect.flipped or effect.rest_moved:
        return Harm.BREAKING
    if effect.is_nothing:
        return Harm.COSMETIC
    return Harm.SAFE if effect.largest <= SMALL else Harm.RISKY


def effect_text(effect: Effect, unit: str, unit_now: str = "") -> str:
    """What a change of a response does, in a sentence."""
    if not effect.same_reading:
        return _posed_text(effect, unit, unit_now)
    if effect.is_nothing:
        return "the strengths stay the same"
    parts = [f"strength changes by at most {changed(effect.largest)}, at {amount(effect.at, unit)}"]
    parts += _turned_and_rest(effect)
    if effect.extreme_moved:
        before, after = (amount(value, unit) for value in effect.reaches)
        if before != after:
            parts.append(f"the extreme moved from {before} to {after}")
        else:
            parts.append(_at_extreme(effect))
    if not effect.rest_moved and not effect.extreme_moved:
        parts.append("rest and extreme stay")
    return "; ".join(parts)


def _posed_text(effect: Effect, unit: str, unit_now: str) -> str:
    motion = f"over the motion of both readings ({poses_text(effect.poses, effect.possible)})"
    if effect.is_nothing:
        return f"{motion}, no change of strength was found"
    where = f"where {amount(effect.at, unit)} is read as {amount(effect.now, unit_now)} now"
    parts = [f"{motion}, strength changes by at most {changed(effect.largest)}, {where}", *_turned_and_rest(effect)]
    if abs(effect.at_extreme[0] - effect.at_extreme[1]) > NOTHING:
        parts.append(_at_extreme(effect))
    return "; ".join(parts)


def _turned_and_rest(effect: Effect) -> Iterator[str]:
    if effect.flipped:
        yield "DIRECTION FLIPPED"
    if effect.rest_moved:
        yield f"AT REST {changed(effect.rest[0])} {ARROW} {changed(effect.rest[1])}"


def _at_extreme(effect: Effect) -> str:
    return f"at the extreme {changed(effect.at_extreme[0])} {ARROW} {changed(effect.at_extreme[1])}"


def _combination(situation: Situation) -> Iterator[Verdict]:
    old, new = situation.fact.old, situation.fact.new
    text = f"{text_of(old.combination)} {ARROW} {text_of(new.combination)}"
    mixture = combine_effect(old, new, situation.uses.may_be_open((old, new)))
    if mixture is None or not isfinite(mixture.largest):
        yield Verdict("combination", Harm.RISKY, (STRENGTHS,), f"{text}: cannot be compared")
        return
    change = situation.change
    if change is not None and change.largest > mixture.largest + NOTHING:
        # Its parts changed as well, so that more became of it than of the way in which they are put together.
        rest = f", AT REST {changed(change.rest[0])} {ARROW} {changed(change.rest[1])}" if change.rest_moved else ""
        over = f" on {change.poses_text}" if change.is_bounded else ""
        text = f"{text}: with its parts, changes by at most {changed(change.largest)}{over}{rest}"
        yield Verdict("combination", Harm.BREAKING if rest else Harm.RISKY, (STRENGTHS,), text)
    elif mixture.largest > NOTHING:
        at = ", ".join(f"{name} {changed(value)}" for name, value in mixture.parts)
        where = f"{changed(mixture.before)} {ARROW} {changed(mixture.after)} where {at}"
        harm = Harm.SAFE if mixture.largest <= SMALL else Harm.RISKY
        yield Verdict("combination", harm, (STRENGTHS,), f"{text}: {where}")
    elif mixture.is_proven:
        yield Verdict("combination", Harm.COSMETIC, (STRENGTHS,), f"{text}: the same strengths")
    else:
        yield Verdict("combination", Harm.SAFE, (STRENGTHS,), f"{text}: no change of strength was found")


def _range(situation: Situation) -> Iterator[Verdict]:
    (low, high), (new_low, new_high) = situation.fact.old.range, situation.fact.new.range
    narrower = new_low > low or new_high < high
    rule, harm = ("range-narrowed", Harm.RISKY) if narrower else ("range-widened", Harm.SAFE)
    text = f"range {changed(low)} .. {changed(high)} {ARROW} {changed(new_low)} .. {changed(new_high)}"
    yield Verdict(rule, harm, (STRENGTHS,), text)


def _field(situation: Situation) -> Iterator[Verdict]:
    """The samples in words; what is computed of them (width, coefficients) follows from where they stand."""
    old, new = ({sample.name: sample.rotation for sample in one.samples} for one in _ends(situation.fact))
    said = [
        f"sample {name} is another pose, {amount(_turn(old[name], new[name]), 'deg')} away from the one before"
        for name in new
        if name in old and old[name] != new[name]
    ]
    said += [f"sample {name} is new" for name in new if name not in old]
    said += [f"sample {name} is gone" for name in old if name not in new]
    if not said and [*old] != [*new]:
        said = ["the samples in another order"]
    if not said and situation.fact.old.kernel != situation.fact.new.kernel:
        return  # told as the kernel
    yield Verdict("field", Harm.RISKY, (STRENGTHS,), ", ".join(said) or "interpolated in another way")


def _turn(old: Quaternion, new: Quaternion) -> float:
    """The angle between two rotations, in radians."""
    between = multiply(conjugate(old), new)
    return 2.0 * atan2(hypot(*between[:3]), abs(between[3]))


def _ends(fact: Difference) -> tuple[Field, Field]:
    old, new = fact.old, fact.new
    assert isinstance(old, Field) and isinstance(new, Field)
    return old, new


def _control(situation: Situation) -> Verdict:
    """One that holds the weight of a morph target came or went with what reads it, which is judged by itself."""
    fact = situation.fact
    if fact.entry.morph is None:
        return came_or_went(situation, (STRENGTHS,))
    text = "a driver reads it now" if fact.what == "added" else "no driver reads it any more"
    return Verdict("weight-read" if fact.what == "added" else "weight-unread", Harm.SAFE, (STRENGTHS,), text)


JUDGEMENTS: Final = (
    Judgement("fields", ("samples", "width", "coefficients", "constants"), _field),
    Judgement("strengths", RESPONSE, _response),
    Judgement("strengths", ("combination",), _combination),
    Judgement("controls", ("range",), _range),
    always("controls", "rest", "control-rest", Harm.RISKY, STRENGTHS),
    always("controls", "morph", "control-morph", Harm.RISKY, STRENGTHS),
)
TABLES: Final = (
    TableJudgement("controls", (STRENGTHS,), _control),
    TableJudgement("fields", (STRENGTHS,)),
    TableJudgement("strengths", (STRENGTHS,)),
)
