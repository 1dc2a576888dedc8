"""Many names that changed in one way: joints with other names and the same frames, outputs named by another pattern.

Each is one fact, and all else is compared as if the names had always been the new ones.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any, Final

from plica.diff.facts import Difference, FieldChange
from plica.diff.renaming import rewritten
from plica.diff.value_text import ARROW
from plica.rig.rig import Rig
from plica.rig.strengths import Sample

JOINTS: Final = "name"
"""The path of joints' names, each with the former one: a joint with another name is another joint everywhere else."""
OUTPUT_NAMES: Final = "output_names"
"""The path of outputs' names, each with the former one."""
_LISTED: Final = 3  # ways in which names changed
_FEWEST: Final = 2  # names that make a pattern
_WORDS: Final = re.compile(r"[A-Za-z]+|\d+|[^A-Za-z\d]+")


def renamed_joints(old: Rig, new: Rig) -> dict[str, str]:
    """The new names of joints of the old rig that have another name and the same frames in the same place.

    Two joints are the same where their parents are, and where the frames of no other pair below that parent are equal.
    """
    before = {joint.name for joint in old.skeleton}
    after = {joint.name for joint in new.skeleton}
    gone = [joint for joint in old.skeleton if joint.name not in after]
    come = [joint for joint in new.skeleton if joint.name not in before]
    renamed: dict[str, str] = {}
    for _ in range(len(come)):
        found = len(renamed)
        places: dict[object, tuple[list[str], list[str]]] = {}
        for side, joints in enumerate((gone, come)):
            for joint in joints:
                parent = joint.parent if side or joint.parent is None else renamed.get(joint.parent, joint.parent)
                places.setdefault((parent, joint.neutral, joint.rest), ([], []))[side].append(joint.name)
        for olds, news in places.values():
            if len(olds) == len(news) == 1:
                renamed[olds[0]] = news[0]
        if len(renamed) == found:
            break
    return renamed


def with_joints_called(rig: Rig, renamed: Mapping[str, str]) -> Rig:
    """The rig with every mention of a joint by its new name."""
    result = rewritten(rig, {"joints": renamed}) if renamed else rig
    assert isinstance(result, Rig)
    return result


def joints_fact(renamed: Mapping[str, str]) -> Difference:
    """That joints have other names, as one fact."""
    fields = tuple(FieldChange(JOINTS, before, after) for before, after in sorted(renamed.items()))
    return Difference("changed", "skeleton", "joints", renamings_text(renamed), "none", "joints", (), (), fields)


def renamings_text(renamed: Mapping[str, str]) -> str:
    """What became of names, in a few words: `_lf → _l (23), _rt → _r (23)`, or the first of them."""
    parts = Counter(_changed_part(before, after) for before, after in renamed.items())
    listed = [f"{before} {ARROW} {after} ({count})" for (before, after), count in parts.most_common(_LISTED)]
    rest = sum(parts.values()) - sum(count for _, count in parts.most_common(_LISTED))
    return ", ".join(listed) + (f" and {rest} more" if rest else "")


def _changed_part(before: str, after: str) -> tuple[str, str]:
    """What differs between two names, from the mark or the word in which it begins to that in which it ends."""
    one, other = _WORDS.findall(before), _WORDS.findall(after)
    start = 0
    while start < min(len(one), len(other)) and one[start] == other[start]:
        start += 1
    end = 0
    while end < min(len(one), len(other)) - start and one[-1 - end] == other[-1 - end]:
        end += 1
    if start and not one[start - 1].isalnum():
        start -= 1  # `_lf` tells more than `lf`
    return "".join(one[start : len(one) - end]), "".join(other[start : len(other) - end])


# ---- the pattern of outputs' names -------------------------------------------------------------------------------


def with_one_pattern(facts: Iterable[Difference], new: Rig) -> list[Difference]:
    """Facts, those in one that say no more than that the pattern of outputs' names is another."""
    result = list(facts)
    named = [(number, field) for number, fact in enumerate(result) if (field := _name_of(fact)) is not None]
    patterns = Counter(pair for number, _ in named if (pair := _patterns(result[number])) is not None)
    if not patterns:
        return result
    (before, after), count = patterns.most_common(1)[0]
    if count < _FEWEST:
        return result
    changed: list[FieldChange] = []
    for number, field in named:
        fact = result[number]
        if _formed(before, fact.old) and _formed(after, fact.new):
            changed.append(FieldChange(OUTPUT_NAMES, field.old, field.new))
            result[number] = fact._replace(fields=tuple(one for one in fact.fields if one is not field))
    left = [fact for fact in result if fact.what != "changed" or fact.fields]
    name = new.character.name
    fact = Difference(
        "changed", "character", "names", f"{before} {ARROW} {after}", "none", name, (), (), tuple(changed)
    )
    return [fact, *left]


def _name_of(fact: Difference) -> FieldChange | None:
    """The change of an output's name, where its declared name and its side are as before."""
    if fact.what != "changed" or not hasattr(fact.new, "declared") or not hasattr(fact.new, "side"):
        return None
    return next((field for field in fact.fields if field.path == "name"), None)


def _patterns(fact: Difference) -> tuple[str, str] | None:
    """The patterns by which the old and the new name are formed; None where the name says nothing of its side."""
    pair = tuple(
        name.replace(declared, "{name}", 1).replace(side, "{side}", 1)
        for name, declared, side in map(_named, (fact.old, fact.new))
    )
    return (pair[0], pair[1]) if all("{name}" in one and "{side}" in one for one in pair) else None


def _formed(pattern: str, entry: Any) -> bool:
    """Whether the name of an entry is formed by a pattern."""
    name, declared, side = _named(entry)
    return pattern.replace("{name}", declared).replace("{side}", side) == name


def _named(entry: Any) -> tuple[str, str, str]:
    """The output name, the declared name as it stands in it, and the side."""
    declared = entry.declared.replace(".", "_") if isinstance(entry, Sample) else entry.declared
    return entry.name, declared, entry.side
