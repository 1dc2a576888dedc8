"""What must come first: names in rounds, each after the names that it needs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping


def rounds(needs: Mapping[str, Iterable[str]]) -> Iterator[list[str]]:
    """The names in rounds: in each, in the order of `needs`, those whose needs all came in earlier rounds.

    Needs that are no names of the mapping count as there. Names in a circle, or that need one of these, never come.
    The time is in proportion to the number of needs, however long a chain they make.
    """
    place = {name: index for index, name in enumerate(needs)}
    missing: dict[str, int] = {}
    needed_by: dict[str, list[str]] = {}
    for name, wanted in needs.items():
        known = {other for other in wanted if other in place}
        missing[name] = len(known)
        for other in known:
            needed_by.setdefault(other, []).append(name)
    ready = [name for name, count in missing.items() if count == 0]
    while ready:
        yield ready
        following: list[str] = []
        for name in ready:
            for other in needed_by.get(name, ()):
                missing[other] -= 1
                if missing[other] == 0:
                    following.append(other)
        ready = sorted(following, key=place.__getitem__)


def circles(needs: Mapping[str, Iterable[str]]) -> Iterator[list[str]]:
    """Names that need one another in a circle, each group of connected ones once, in the order of `needs`.

    needs: what never comes of `rounds`. What only needs a circle, or leads from one to another, is in none or in that
    of its circles.
    """
    needed_by: dict[str, list[str]] = {name: [] for name in needs}
    for name, wanted in needs.items():
        for other in dict.fromkeys(wanted):
            if other in needed_by:
                needed_by[other].append(name)
    only_needing = {name for names in rounds(needed_by) for name in names}
    rest = {name: None for name in needs if name not in only_needing}
    while rest:
        group: dict[str, None] = {}
        following = [next(iter(rest))]
        while following:
            name = following.pop()
            if name in rest:
                del rest[name]
                group[name] = None
                following += [*needed_by[name], *needs[name]]
        yield [name for name in needs if name in group]
