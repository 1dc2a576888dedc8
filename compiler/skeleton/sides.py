"""Left and right: pairing joints by name patterns."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Literal

from plica.named_tuples import NamedTuple

AxisName = Literal["x", "y", "z"]
AXES: tuple[AxisName, ...] = ("x", "y", "z")
_SEPARATORS = "_.-: "


class Pair(NamedTuple):
    """Two joints that mirror each other, under the name that both share; indexes into the skeleton."""

    base: str
    left: int
    right: int


class StatedPair(NamedTuple):
    """A pair that was stated: indexes into the names, and the name for both (None: the words that both share)."""

    left: int
    right: int
    name: str | None


class Sides(NamedTuple):
    """The pairs of a skeleton.

    `unpaired` are joints that carry a side's mark while the other side has no such joint; `clashing` are base names
    that more than one pair would have (the first pair keeps it). `placed`: the names of pairs that were found by
    position; such a pair is called as its left joint is. `patterns`: those that were used, left ones with right ones.
    """

    pairs: dict[str, Pair]
    partner: dict[int, int]
    left: frozenset[int]
    right: frozenset[int]
    unpaired: tuple[int, ...]
    clashing: tuple[str, ...]
    placed: frozenset[str] = frozenset()
    patterns: tuple[tuple[str, str], ...] = ()


NO_SIDES = Sides({}, {}, frozenset(), frozenset(), (), ())


@lru_cache(maxsize=256)
def _expressions(pattern: str) -> tuple[re.Pattern[str], ...]:
    """A pattern as expressions, the one with the shortest first capture first."""
    parts = [re.escape(part) for part in pattern.split("*")]
    texts = ["(.+)".join(parts)]
    if len(parts) == 3:
        texts = ["(.+?)".join(parts[:2]) + "(.+)" + parts[2], *texts]
    return tuple(re.compile(f"{text}$", re.DOTALL) for text in texts)


def _fitting(pattern: str, name: str) -> tuple[re.Pattern[str], ...]:
    """The expressions of a pattern, none where the name cannot match: trying would take long on a long name."""
    first, *_, last = pattern.split("*")
    return _expressions(pattern) if name.startswith(first) and name.endswith(last) else ()


def base_name(pattern: str, captures: Sequence[str]) -> str:
    """The name that both joints of a pair share: what the wildcards stand for.

    Between two wildcards one separator stays where the mark stood between separators: `*_L_*` makes `arm_L_1` `arm_1`.
    """
    middle = pattern.split("*")[1] if len(captures) == 2 else ""
    keeps = len(middle) > 1 and middle[0] in _SEPARATORS and middle[-1] in _SEPARATORS
    return (middle[0] if keeps else "").join(captures)


def counterparts(name: str, pattern: str, other: str) -> Iterator[tuple[str, str]]:
    """What the other side's pattern makes of a name that fits a pattern, and the name that both share."""
    for expression in _fitting(pattern, name):
        match = expression.match(name)
        if match is not None:
            yield _filled(other, match.groups()), base_name(pattern, match.groups())


def valid_pattern(pattern: str) -> bool:
    """Whether a pattern has one or two wildcards and something beside them."""
    return pattern.count("*") in (1, 2) and "**" not in pattern and pattern.strip("*") != ""


def pair_joints(
    names: Sequence[str],
    left_patterns: Sequence[str],
    right_patterns: Sequence[str],
    stated: Sequence[StatedPair] = (),
) -> Sides:
    """Pair joints whose left and right patterns capture the same texts.

    The first left pattern belongs to the first right pattern, and so on. `stated` pairs come first.
    """
    index = {name: position for position, name in enumerate(names)}
    pairs: dict[str, Pair] = {}
    partner: dict[int, int] = {}
    marked: dict[int, None] = {}
    clashing: list[str] = []

    def add(base: str, left: int, right: int) -> None:
        if left in partner or right in partner or left == right:
            return
        if base in pairs:
            clashing.append(base)
            return
        pairs[base] = Pair(base, left, right)
        partner[left], partner[right] = right, left

    for left, right, name in stated:
        add(name or _common_name(names[left], names[right]), left, right)
    for left_pattern, right_pattern in zip(left_patterns, right_patterns, strict=True):
        for position, name in enumerate(names):
            for counterpart, base in counterparts(name, left_pattern, right_pattern):
                marked[position] = None
                other = index.get(counterpart)
                if other is not None:
                    add(base, position, other)
                    break
            if any(expression.match(name) for expression in _fitting(right_pattern, name)):
                marked[position] = None
    return Sides(
        pairs=pairs,
        partner=partner,
        left=frozenset(pair.left for pair in pairs.values()),
        right=frozenset(pair.right for pair in pairs.values()),
        unpaired=tuple(position for position in marked if position not in partner),
        clashing=tuple(clashing),
        patterns=tuple(zip(left_patterns, right_patterns, strict=False)),
    )


def with_placed(sides: Sides, placed: Sequence[tuple[int, int]], names: Sequence[str]) -> Sides:
    """The pairs, and further ones (left, right) that were found by position, of joints that have no partner yet."""
    pairs, partner = dict(sides.pairs), dict(sides.partner)
    clashing, added = list(sides.clashing), []
    for left, right in placed:
        base = names[left]
        if left in partner or right in partner:
            continue
        if base in pairs:
            clashing.append(base)
            continue
        pairs[base] = Pair(base, left, right)
        partner[left], partner[right] = right, left
        added.append(base)
    return sides._replace(
        pairs=pairs,
        partner=partner,
        left=frozenset(pair.left for pair in pairs.values()),
        right=frozenset(pair.right for pair in pairs.values()),
        unpaired=tuple(joint for joint in sides.unpaired if joint not in partner),
        clashing=tuple(clashing),
        placed=frozenset(added),
    )


def _filled(pattern: str, captures: Sequence[str]) -> str:
    parts = pattern.split("*")
    filled = parts[0]
    for capture, part in zip(captures, parts[1:], strict=False):
        filled += capture + part
    return filled


def _common_name(left: str, right: str) -> str:
    """The words that two names share at their start and end; the left name where they share none."""
    lefts, rights = (re.split(f"[{re.escape(_SEPARATORS)}]+", name) for name in (left, right))
    start = 0
    while start < min(len(lefts), len(rights)) and lefts[start] == rights[start]:
        start += 1
    end = 0
    while end < min(len(lefts), len(rights)) - start and lefts[-1 - end] == rights[-1 - end]:
        end += 1
    return "_".join(lefts[:start] + lefts[len(lefts) - end :]) or left
