"""Names of joints taken apart into words, and the side that they tell."""

from __future__ import annotations

import re
from typing import Final

_WORD: Final = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[^\W\d_A-Za-z]+|\d+")
_NAMESPACE: Final = re.compile(r"^.*[:|/]")
_LEFT: Final = frozenset({"left", "l", "lf", "lt"})
_RIGHT: Final = frozenset({"right", "r", "rt"})


def words_of(name: str) -> tuple[str, ...]:
    """The words of a joint's name in lower case: cut at separators, digits and capital letters."""
    return tuple(word.lower() for word in _WORD.findall(name))


def parts_of_name(name: str) -> tuple[str, str]:
    """The side that a name tells ("left", "right" or "") and its other words in small letters, without separators."""
    side, words = "", []
    for word in words_of(_NAMESPACE.sub("", name)):
        if not side and word in _LEFT | _RIGHT:
            side = "left" if word in _LEFT else "right"
        else:
            words.append(word)
    return side, "".join(words)
