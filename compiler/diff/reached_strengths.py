"""Strengths whose own text is the same, but which a change reaches: through a control, a joint, a field or a part."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from plica.diff.facts import Difference
from plica.diff.strength_comparison import NOTHING, StrengthChange, StrengthComparison
from plica.diff.value_text import ARROW
from plica.diff.verdicts import STRENGTHS, Harm, Verdict
from plica.quantities import changed
from plica.rig.combinations import parts_of
from plica.rig.strengths import Combine, Sample

TABLES: Final = ("controls", "skeleton", "fields", "strengths")
SMALL: Final = 0.02
"""Of a strength: what is hardly seen; a figure of our own."""
_WORTH_A_WORD = 1.2  # a combination is listed that changes by so many times as much as what it is made of
_LISTED = 6


def reached_verdicts(fact: Difference, comparison: StrengthComparison) -> Iterator[Verdict]:
    """What a change does to strengths that say the same as before; nothing where it reaches none."""
    if fact.table not in TABLES or fact.old is None or fact.new is None:
        return
    reached = {name: comparison.change_of(name) for name in _reached(fact, comparison)}
    said = {name: change for name, change in reached.items() if change is None or change.largest > NOTHING}
    if not said:
        return
    kinds = {name: comparison.sources[1].strengths[name].kind for name in said}
    listed = [f"{kinds[name]} {name} {change_text(change)}" for name, change in [*said.items()][:_LISTED]]
    if len(said) > _LISTED:
        listed.append(f"and {len(said) - _LISTED} more")
    harm = min(_harm_of(change) for change in said.values())
    yield Verdict("reached-strengths", harm, (STRENGTHS,), "; ".join(listed))


def change_text(change: StrengthChange | None) -> str:
    """What became of a strength, in a few words after its name."""
    if change is None:
        return "cannot be compared"
    text = f"changes by at most {changed(change.largest)}"
    return f"{text}, AT REST {changed(change.rest[0])} {ARROW} {changed(change.rest[1])}" if change.rest_moved else text


def _harm_of(change: StrengthChange | None) -> Harm:
    if change is None:
        return Harm.RISKY
    if change.rest_moved:
        return Harm.BREAKING
    return Harm.SAFE if change.largest <= SMALL else Harm.RISKY


def _reached(fact: Difference, comparison: StrengthComparison) -> Iterator[str]:
    """Strengths that read what changed, and the combinations of them that change by more than they do."""
    name = str(getattr(fact.new, "name", ""))
    direct = [name] if fact.table == "strengths" else [*_readers(fact.table, name, comparison)]
    if fact.table != "strengths":
        yield from direct
    combines = [one for one in _made_of(direct, comparison) if not comparison.is_no_worse(one)]
    if not combines:
        return
    changes = [comparison.change_of(one) for one in direct if one in comparison.affected]
    least = _WORTH_A_WORD * max((change.largest for change in changes if change is not None), default=0.0)
    for combine in combines:
        change = comparison.change_of(combine)
        if change is None or change.largest > least:
            yield combine


def _readers(table: str, name: str, comparison: StrengthComparison) -> Iterator[str]:
    before, after = comparison.sources
    for strength_name in comparison.affected:
        strength = after.strengths[strength_name]
        if table == "fields":
            found = isinstance(strength, Sample) and strength.field == name
        elif comparison.is_changed_itself(strength_name):
            found = False
        elif table == "controls":
            found = name in after.controls_read(strength)
        else:
            moved = {one for one in after.joints_above(strength) if before.joints.get(one) != after.joints[one]}
            found = name in (moved & after.joints_read(strength) or moved)
        if found:
            yield strength_name


def _made_of(names: Iterable[str], comparison: StrengthComparison) -> Iterator[str]:
    """The affected combinations, themselves unchanged, that are made of some strengths at any distance."""
    met = set(names)
    for name in comparison.affected:
        strength = comparison.sources[1].strengths[name]
        if isinstance(strength, Combine) and met & set(parts_of(strength.combination)):
            met.add(name)
            if not comparison.is_changed_itself(name):
                yield name
