"""What is accepted in the texts themselves (`accept RULE because "REASON"`), before and after a change."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from plica.diff.facts import ACCEPTS, Difference, FieldChange
from plica.diff.written import Writing


class AcceptedRule(NamedTuple):
    """A rule whose warnings or notes are not reported, and why."""

    rule: str
    reason: str


def accepted_facts(before: Writing, after: Writing) -> Iterator[Difference]:
    """The rules that are accepted in one of two states alone, or for another reason."""
    for key in dict.fromkeys((*after.accepts, *before.accepts)):
        old, new = (
            None if found is None else AcceptedRule(found.rule, found.reason)
            for found in (before.accepts.get(key), after.accepts.get(key))
        )
        if old is None or new is None:
            yield Difference("added" if old is None else "removed", ACCEPTS, "accept", key, "none", key, old, new)
        elif old != new:
            field = FieldChange("reason", old.reason, new.reason)
            yield Difference("changed", ACCEPTS, "accept", key, "none", key, old, new, (field,))
