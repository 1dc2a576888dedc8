"""Affected strengths in batches that are compared one after the other, so that the work grows as their number does.

Strengths that share something they are made of are of one batch, because what becomes of a combination shows only where
its parts are posed. Those that read the same joints come together, because poses for other joints cost nothing more.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

from plica.rig.combinations import parts_of
from plica.rig.strengths import Combine

if TYPE_CHECKING:
    from plica.diff.strength_comparison import Sources

_TOGETHER: Final = 1024  # strengths of a batch, where it has room for more groups
_READERS: Final = 64  # strengths of a batch that read one joint


def strength_batches(names: Sequence[str], both: tuple[Sources, Sources]) -> list[list[str]]:
    """The strengths in batches; a single one where they are few."""
    batches: list[list[str]] = []
    readers: Counter[str] = Counter()
    for group, joints in _by_joint(_groups(names, both), both):
        is_full = bool(batches) and len(batches[-1]) + len(group) > _TOGETHER
        if not batches or is_full or any(readers[joint] + count > _READERS for joint, count in joints.items()):
            batches.append([])
            readers.clear()
        batches[-1] += group
        readers.update(joints)
    order = {name: place for place, name in enumerate(names)}
    return [sorted(batch, key=order.__getitem__) for batch in batches]


def _groups(names: Sequence[str], both: tuple[Sources, Sources]) -> list[list[str]]:
    """The strengths, those together that share something that they are made of in either state, or a declaration: both
    sides are compared on the mirror images of the same poses.
    """
    first: dict[str, str] = {}

    def found(name: str) -> str:
        while (above := first.setdefault(name, name)) != name:
            first[name] = first[above]  # the way is halved, so that the next look is short
            name = above
        return name

    for name in names:
        first[found(name)] = found(both[1].strengths[name].declared + " declared")
    for sources in both:
        waiting, met = list(names), set(names)
        while waiting:
            name = waiting.pop()
            strength = sources.strengths.get(name)
            for part in parts_of(strength.combination) if isinstance(strength, Combine) else ():
                first[found(part)] = found(name)
                if part not in met:
                    met.add(part)
                    waiting.append(part)
    groups: dict[str, list[str]] = {}
    for name in names:
        groups.setdefault(found(name), []).append(name)
    return list(groups.values())


def _by_joint(groups: Sequence[list[str]], both: tuple[Sources, Sources]) -> Iterator[tuple[list[str], Counter[str]]]:
    """The groups in the order of the joints that they read first, with how many of their strengths read each joint."""
    after = both[1]
    place = {name: number for number, name in enumerate(after.joints)}
    read = [Counter(joint for name in group for joint in after.joints_read(after.strengths[name])) for group in groups]
    firsts = [min((place[joint] for joint in one if joint in place), default=-1) for one in read]
    yield from ((groups[number], read[number]) for number in sorted(range(len(groups)), key=firsts.__getitem__))
