"""Text to text."""

from __future__ import annotations

from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.format.layout import Done, laid_out
from plica.format.statements import Statement, statements_of
from plica.format.words import Words
from plica.source import Source
from plica.syntax.nodes import Document
from plica.syntax.parser import Tokens, parse_with_tokens


class LaidOut(NamedTuple):
    """A text as it was read, and the same in the canonical layout; `done` are the pieces that it is made of."""

    document: Document
    tokens: Tokens
    words: Words
    statements: tuple[Statement, ...]
    done: Done
    text: str


def lay_out(source: Source, found: Diagnostics) -> LaidOut | None:
    """A file in the canonical layout; None, with the diagnostics of parsing, where it has mistakes.

    Words, comments and their order are kept as they are; only blanks, line ends and blank lines change.
    """
    errors = found.count_of_errors
    document, tokens = parse_with_tokens(source, found)
    if found.count_of_errors > errors:
        return None
    words = Words(source.text, tokens, document.comments)
    statements = statements_of(document, words)
    done = Done(words)
    return LaidOut(document, tokens, words, statements, done, laid_out(statements, words, done))


def formatted(source: Source, found: Diagnostics) -> str | None:
    """The text of `lay_out` alone."""
    result = lay_out(source, found)
    return None if result is None else result.text
