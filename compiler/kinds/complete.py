"""Tables that must hold something for every kind: one that leaves a kind out is refused when it is loaded."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar

_Key = TypeVar("_Key")
_Value = TypeVar("_Value")


class MissingKindError(RuntimeError):
    """A table leaves a kind out, or holds one that there is not. A mistake of Plica's own."""


def complete(table: Mapping[_Key, _Value], kinds: Iterable[_Key], what: str) -> Mapping[_Key, _Value]:
    """The table itself; `what` says what it holds. Raises MissingKindError unless it holds exactly these kinds."""
    expected = set(kinds)
    missing, unknown = expected - set(table), set(table) - expected
    if missing:
        raise MissingKindError(f"there is no {what} of {', '.join(sorted(map(str, missing)))}")
    if unknown:
        raise MissingKindError(f"there is a {what} of {', '.join(sorted(map(str, unknown)))}, which is no kind")
    return table
