"""What is said of the left and of the right alike is said once."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from plica.diff.collect import MEASURED
from plica.diff.verdicts import Judged, Verdict
from plica.rig.rig import Rig

_SIDES: Final = {"left": 0, "right": 1, "none": 2}
_WORD = re.compile(r"\w+")


def with_numbers(verdict: Verdict, index: int, alike: Sequence[Judged]) -> Verdict:
    """What was measured with the numbers of each side, which are said once where they are the same."""
    if verdict.rule != MEASURED:
        return verdict
    numbers = {one.fact.side: one.verdicts[index].exact for one in alike}
    said = dict.fromkeys(numbers.values())
    text = next(iter(said)) if len(said) == 1 else ", ".join(f"{side} {text}" for side, text in numbers.items())
    return verdict._replace(text=f"{verdict.text}: {text}", exact="")


def said_once(*rigs: Rig) -> dict[str, str]:
    """Names as they are on no side in particular: declared names, and for right joints their left partner."""
    result: dict[str, str] = {}
    for rig in rigs:
        result |= {joint.name: joint.partner for joint in rig.skeleton if joint.side == "right" and joint.partner}
    for rig in rigs:
        for table in (rig.controls, rig.fields, rig.strengths, rig.regions, rig.shapes, rig.folds, rig.poses):
            result |= {entry.name: entry.declared for entry in table}
    return result


def side_order(side: str) -> int:
    """Left before right before none."""
    return _SIDES.get(side, len(_SIDES))


def general(text: str, names: Mapping[str, str]) -> str:
    """A text with the names that are on no side in particular (`said_once`)."""
    return _WORD.sub(lambda word: names.get(word[0], word[0]), text)


def alike(judged: Iterable[Judged], names: Mapping[str, str]) -> list[list[Judged]]:
    """Judged facts, left and right together where the same is said about the same declaration."""
    groups: dict[object, list[Judged]] = {}
    for index, one in enumerate(judged):
        fact = one.fact
        said = tuple((verdict[:3], general(verdict.text, names)) for verdict in one.verdicts)
        paths = tuple(field.path for field in fact.fields)
        key: object = (fact.table, fact.kind, fact.declared, fact.what, said, paths)
        group = groups.get(key)
        if group and fact.side in [other.fact.side for other in group]:
            key = index
        groups.setdefault(key, []).append(one)
    return [sorted(group, key=lambda one: side_order(one.fact.side)) for group in groups.values()]


def users_once(users: Iterable[str], names: Mapping[str, str]) -> tuple[str, ...]:
    """Users, those of both sides once."""
    together: dict[str, dict[str, None]] = {}
    for user in users:
        together.setdefault(general(user, names), {})[user] = None
    return tuple(said if len(each) > 1 else next(iter(each)) for said, each in together.items())
