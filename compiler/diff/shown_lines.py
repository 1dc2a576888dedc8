"""Lines of a text as they are shown: what is gone, what is new."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

MOST_LINES: Final = 12
"""Of each kind that are shown of one change; a figure of our own."""


def shown_lines(gone: Sequence[str], new: Sequence[str]) -> tuple[str, ...]:
    """Lines that are gone and new, each with its sign before it; the first of many."""
    return (*_listed("- ", gone), *_listed("+ ", new))


def _listed(sign: str, lines: Sequence[str]) -> Iterator[str]:
    yield from (f"{sign}{line}" for line in lines[:MOST_LINES])
    if len(lines) > MOST_LINES:
        yield f"{sign}and {len(lines) - MOST_LINES} more"
