"""Strengths whose own text is the same, but which a change reaches: through a control, a joint, a field or a part."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from plica.diff.facts import Difference
from plica.diff.strength_change import NOTHING, StrengthChange
from plica.diff.strength_comparison import StrengthComparison
from plica.diff.value_text import ARROW
from plica.diff.verdicts import STRENGTHS, Harm, Verdict
from plica.quantities import changed

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
    said = {
        name: change
        for name, change in reached.items()
        if change is None or change.largest > NOTHING or change.is_bounded
    }
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
    over = f" on {change.poses_text}" if change.is_bounded else ""
    if change.largest <= NOTHING:
        return f"no change was found{over}"
    text = f"changes by at most {changed(change.largest)}{over}"
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
    direct = [name] if fact.table == "strengths" else comparison.readers.get((fact.table, name), [])
    if fact.table != "strengths":
        yield from direct
    combines = [one for one in _made_of(direct, comparison) if not comparison.is_no_worse(one)]
    if not combines:
        return
    changes = [comparison.change_of(one) for one in direct if one in comparison.affected_places]
    least = _WORTH_A_WORD * max((change.largest for change in changes if change is not None), default=0.0)
    for combine in combines:
        change = comparison.change_of(combine)
        if change is None or change.is_bounded or change.largest > least:
            yield combine


def _made_of(names: Iterable[str], comparison: StrengthComparison) -> Iterator[str]:
    """The affected combinations, themselves unchanged, that are made of some strengths at any distance."""
    found: set[str] = set()
    waiting = list(names)
    while waiting:
        for name in comparison.affected_combines.get(waiting.pop(), ()):
            if name not in found:
                found.add(name)
                waiting.append(name)
    for name in sorted(found, key=comparison.affected_places.__getitem__):
        if not comparison.is_changed_itself(name):
            yield name
