"""How a rig tells left from right: the facts of its character, and what its pairs of joints are called."""

from __future__ import annotations

import re
from itertools import takewhile
from typing import NamedTuple

from plica.rig.rig import Rig
from plica.start.spec_text import FactLine, joint_text
from plica.syntax.builder import encode_text


class WrittenSides(NamedTuple):
    """The facts, and by the name of each paired joint what the pair is called."""

    facts: tuple[FactLine, ...]
    bases: dict[str, str]


def sides_of(rig: Rig) -> WrittenSides:
    """One pattern for all pairs where their names end or begin alike, else each pair stated."""
    pairs = [
        (joint.name, joint.partner) for joint in rig.skeleton if joint.side == "left" and joint.partner is not None
    ]
    if not pairs:
        return WrittenSides((), {})
    others = [joint.name for joint in rig.skeleton if joint.side == "none"]
    for marks in (_ending_marks(pairs), _beginning_marks(pairs)):
        if marks is None:
            continue
        patterns, bases = marks
        if not any(_fits(pattern, name) for pattern in patterns for name in others):
            facts = tuple(
                FactLine(side, encode_text(one)) for side, one in zip(("left", "right"), patterns, strict=True)
            )
            return WrittenSides(facts, bases)
    facts = tuple(
        FactLine("pair", f"{joint_text(left)}, {joint_text(right)} as pair_{number + 1}")
        for number, (left, right) in enumerate(pairs)
    )
    return WrittenSides(facts, {name: f"pair_{number + 1}" for number, pair in enumerate(pairs) for name in pair})


Marks = tuple[tuple[str, str], dict[str, str]]


def _ending_marks(pairs: list[tuple[str, str]]) -> Marks | None:
    """Patterns such as `*_lf` and `*_rt`, and the bases, where all pairs differ only in such an ending."""
    left, right = pairs[0]
    stem = re.sub(r"[^\W_]*$", "", _common_start(left, right))
    separator = stem[-1:]
    marks = separator + left[len(stem) :], separator + right[len(stem) :]
    bases = {}
    for one, other in pairs:
        base = one.removesuffix(marks[0])
        if not base or base + marks[0] != one or base + marks[1] != other:
            return None
        bases[one] = bases[other] = base
    return (f"*{marks[0]}", f"*{marks[1]}"), bases


def _beginning_marks(pairs: list[tuple[str, str]]) -> Marks | None:
    """The same for beginnings."""
    turned = _ending_marks([(left[::-1], right[::-1]) for left, right in pairs])
    if turned is None:
        return None
    (left, right), bases = turned
    return (left[::-1], right[::-1]), {name[::-1]: base[::-1] for name, base in bases.items()}


def _fits(pattern: str, name: str) -> bool:
    mark = pattern.strip("*")
    return len(name) > len(mark) and (name.endswith(mark) if pattern.startswith("*") else name.startswith(mark))


def output_names(rig: Rig) -> list[FactLine]:
    """`names` and `sides`, where outputs are not called in the usual way."""
    tables = (rig.strengths, rig.regions, rig.shapes, rig.controls)
    lefts = {one.declared: one.name for table in tables for one in table if one.side == "left"}
    rights = {one.declared: one.name for table in tables for one in table if one.side == "right"}
    known = [(declared, name, rights[declared]) for declared, name in lefts.items() if declared in rights]
    plain = [one for one in known if "." not in one[0] and one[0] in one[1] and one[0] in one[2]]
    if not plain or all((left, right) == (f"left_{name}", f"right_{name}") for name, left, right in plain):
        return []
    name, left, right = plain[0]
    before, after = left.split(name, 1)
    other, _ = right.split(name, 1)
    parts = (before, other) if before != other else (after, right.split(name, 1)[1])
    shared = _shared_separator(*parts, at_end=before != other)
    texts = [part[: -len(shared) or None] if before != other else part[len(shared) :] for part in parts]
    pattern = f"{{side}}{shared}{{name}}{after}" if before != other else f"{before}{{name}}{shared}{{side}}"
    return [FactLine("names", encode_text(pattern)), FactLine("sides", ", ".join(map(encode_text, texts)))]


def _shared_separator(one: str, other: str, *, at_end: bool) -> str:
    """The blanks, points and lines that both texts end or begin with."""
    texts = [text[::-1] if at_end else text for text in (one, other)]
    shared = re.match(r"[\W_]*", _common_start(*texts))
    found = "" if shared is None else shared[0]
    return found[::-1] if at_end else found


def _common_start(one: str, other: str) -> str:
    return "".join(first for first, _ in takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False)))
