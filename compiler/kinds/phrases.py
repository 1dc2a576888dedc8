"""Phrases: how something is written, its words in the order of the grammar's rule, each part in braces.

`clearance of {region} from {other} at least {limit} [over {poses}]`. Words and parts count as one child each of what
the parser reads, also where they are optional, so the phrase alone says which child a part is.
"""

from __future__ import annotations

import re
from functools import cache

_SYMBOLS = re.compile(r"\{\w+\}|[^\s\[\]{}]+")


@cache
def symbols(phrase: str) -> tuple[str, ...]:
    """The words and parts, in order; parts with their braces."""
    return tuple(_SYMBOLS.findall(phrase))


@cache
def part_names(phrase: str) -> tuple[str, ...]:
    """The names of the parts, in order."""
    return tuple(symbol[1:-1] for symbol in symbols(phrase) if symbol.startswith("{"))


@cache
def children(phrase: str) -> tuple[int, ...]:
    """Which child of the rule each part is."""
    return tuple(index for index, symbol in enumerate(symbols(phrase)) if symbol.startswith("{"))
