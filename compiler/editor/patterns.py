"""Expressions for the words of the language, from the one list of words; for tools that colour text line by line.

They know no grammar: a driver that is called `span` is coloured as the keyword wherever it does not follow the
keyword of its declaration.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from plica.syntax.keywords import words

NAMELESS = ("use", "plica", "override", "expect")  # words that begin a declaration that has no name of its own

COMMENT = r"//[^\n]*"
PLACEHOLDER = r"\{[^\W\d]\w*\}"
ESCAPE = r"\\."
NAME = r"(?:[^\W\d]|\{[^\W\d]\w*\})(?:\w|\{[^\W\d]\w*\})*"
_NOT_IN_A_NAME = r"(?<![\w}])"
AXIS = _NOT_IN_A_NAME + r"[+-]?[xyz](?![\w{])"
NUMBER = _NOT_IN_A_NAME + r"[+-]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][+-]?\d+)?"


def any_of(listed: Iterable[str]) -> str:
    """An expression for any of the words, whole; longer ones first, because `ease` begins `ease-in`."""
    ordered = sorted(listed, key=lambda word: (-len(word), word))
    return rf"(?<![\w}}-])(?:{'|'.join(re.escape(word) for word in ordered)})(?![\w{{-])"


def unit() -> str:
    """An expression for a unit after its number."""
    ordered = sorted(words().units, key=lambda word: (-len(word), word))
    return rf"(?:{'|'.join(re.escape(word) for word in ordered)})(?!\w)"
