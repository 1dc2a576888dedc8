"""Marks of the sides in joint names, in any language: found by what the names of pairs that are known already share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

FEWEST: Final = 3
"""Of fewer pairs what their names share says little."""
_NOT_IN_PATTERNS: Final = '*{}"\\'


def patterns_of_pairs(pairs: Sequence[tuple[str, str]], separators: str) -> tuple[str, str] | None:
    """A pattern for each side, left first, that tells pairs of names (left, right): `*_vasen` and `*_oikea`.

    All left names begin or end with the one mark, all right names with the other, and what is left of both names of a
    pair is the same. None where no marks do that.
    """
    if len(pairs) < FEWEST:
        return None
    at_the_end = _marks([(left[::-1], right[::-1]) for left, right in pairs], separators)
    if at_the_end is not None:
        return f"*{at_the_end[0][::-1]}", f"*{at_the_end[1][::-1]}"
    at_the_beginning = _marks(pairs, separators)
    return None if at_the_beginning is None else (f"{at_the_beginning[0]}*", f"{at_the_beginning[1]}*")


def _marks(pairs: Sequence[tuple[str, str]], separators: str) -> tuple[str, str] | None:
    """What the left names and what the right names begin with, to the separator from what both go on with."""
    left, right = (_shared_beginning(names) for names in zip(*pairs, strict=True))
    shared = len(_shared_beginning((left[::-1], right[::-1])))  # the end of both, which belongs to the names' own words
    parting = [index for index in range(len(left) - shared, len(left)) if left[index] in separators]
    kept = parting[0] + 1 - len(left) if parting else -shared
    left, right = (mark[:kept] if kept else mark for mark in (left, right))
    fits = left and right and left != right and not any(sign in left + right for sign in _NOT_IN_PATTERNS)
    stems = [(one.removeprefix(left), other.removeprefix(right)) for one, other in pairs]
    if not fits or not (left + right).isprintable() or any(one != other or not one for one, other in stems):
        return None
    return left, right


def _shared_beginning(texts: Sequence[str]) -> str:
    """What all texts begin with: as much as the first and the last of them in order have in common."""
    first, last = min(texts), max(texts)
    return first[
        : next((index for index, pair in enumerate(zip(first, last, strict=False)) if len(set(pair)) > 1), len(first))
    ]
