"""Text to text."""

from __future__ import annotations

from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.format.layout import Done, laid_out
from plica.format.words import Words
from plica.source import Source
from plica.syntax.structure import Structure, structure_of


class LaidOut(NamedTuple):
    """A text as it was read, and the same in the canonical layout; `done` are the pieces that it is made of."""

    structure: Structure
    words: Words
    done: Done
    text: str


def lay_out(source: Source, found: Diagnostics) -> LaidOut | None:
    """A file in the canonical layout; None, with the diagnostics of parsing, where it has mistakes.

    Words, comments and their order are kept as they are; only blanks, line ends and blank lines change.
    """
    structure = structure_of(source, found)
    if structure is None:
        return None
    words = Words(source.text, structure.tokens, structure.comments)
    done = Done(words)
    return LaidOut(structure, words, done, laid_out(structure.statements, words, done))


def formatted(source: Source, found: Diagnostics) -> str | None:
    """The text of `lay_out` alone."""
    result = lay_out(source, found)
    return None if result is None else result.text
