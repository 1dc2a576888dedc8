"""What earlier runs made for a page, made again only where what it was made of has changed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypeVar, cast

Made = TypeVar("Made")
_BY_VALUE = (str, bytes, int, float, type(None))


class Kept:
    """The last result of each name, with what it was made of; one that is new makes everything."""

    def __init__(self) -> None:
        self._made: dict[str, tuple[object, object]] = {}

    def recall(self, name: str, made_of: object, make: Callable[[], Made]) -> Made:
        """The result that is kept of this name where it was made of the same, else what `make` gives.

        Numbers and texts are the same by value; tuples, lists and mappings by what they hold; everything else, arrays
        among it, only where it is the same object.
        """
        before = self._made.get(name)
        if before is None or not _same(before[0], made_of):
            before = self._made[name] = (made_of, make())
        return cast(Made, before[1])


def _same(one: object, other: object) -> bool:
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, tuple | list) and isinstance(other, tuple | list):
        return len(one) == len(other) and all(_same(a, b) for a, b in zip(one, other, strict=True))
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return list(one) == list(other) and all(_same(value, other[name]) for name, value in one.items())
    return isinstance(one, _BY_VALUE) and one == other
