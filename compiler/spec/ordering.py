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
