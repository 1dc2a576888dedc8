"""What building finds on the mesh in one state alone: sculpts that no longer fit, regions that are empty."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from plica.diagnostics import Diagnostic
from plica.diff.facts import FINDINGS, Difference

_NUMBERS = re.compile(r"\d+(?:\.\d+)?")


class Finding(NamedTuple):
    """What is found by one rule: how much it weighs, and what is said."""

    rule: str
    severity: str
    messages: tuple[str, ...]


def finding_facts(old: Iterable[Diagnostic], new: Iterable[Diagnostic]) -> Iterator[Difference]:
    """The findings of one state that the other does not have, rule by rule; figures alone make no other finding."""
    before, after = list(old), list(new)
    for found, others, is_new in ((after, before, True), (before, after, False)):
        known = {_subject(one) for one in others}
        rules: dict[str, list[Diagnostic]] = {}
        for one in found:
            if _subject(one) not in known:
                rules.setdefault(one.name, []).append(one)
        for name, only in sorted(rules.items()):
            messages = tuple(dict.fromkeys(one.message for one in only))
            finding = Finding(name, only[0].severity.value, messages)
            if is_new:
                yield Difference("added", FINDINGS, "finding", name, "none", name, None, finding)
            else:
                yield Difference("removed", FINDINGS, "finding", name, "none", name, finding, None)


def _subject(one: Diagnostic) -> tuple[str, str]:
    """What a diagnostic is about: its message without its figures."""
    return one.name, _NUMBERS.sub("#", one.message)
