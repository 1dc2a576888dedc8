"""Text to text."""

from __future__ import annotations

from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.format.layout import LayoutResult, laid_out
from plica.format.token_text import TokenText
from plica.source import Source
from plica.syntax.structure import Structure, structure_of


class LaidOut(NamedTuple):
    """A text as it was read, and the same in the canonical layout; `done` are the pieces that it is made of."""

    structure: Structure
    words: TokenText
    done: LayoutResult
    text: str


def lay_out(source: Source, diagnostics: Diagnostics) -> LaidOut | None:
    """A file in the canonical layout; None, with the diagnostics of parsing, where it has mistakes.

    TokenText, comments and their order are kept as they are; only blanks, line ends and blank lines change.
    """
    structure = structure_of(source, diagnostics)
    if structure is None:
        return None
    words = TokenText(source.text, structure.tokens, structure.comments)
    done = LayoutResult(words)
    return LaidOut(structure, words, done, laid_out(structure.statements, words, done))


def formatted(source: Source, diagnostics: Diagnostics) -> str | None:
    """The text of `lay_out` alone."""
    result = lay_out(source, diagnostics)
    return None if result is None else result.text
