"""A Pygments lexer, so that documentation and terminals show specs in colour."""

from __future__ import annotations

from typing import ClassVar

from pygments.lexer import RegexLexer, bygroups
from pygments.token import Comment, Keyword, Name, Number, Operator, Punctuation, String, Whitespace, _TokenType

from plica.editor import patterns
from plica.syntax.keywords import words

_Rules = list[tuple[object, ...]]


class PlicaLexer(RegexLexer):  # type: ignore[misc]  # Pygments has no types of its own
    """Specs in the language of Plica."""

    name = "Plica"
    aliases: ClassVar[list[str]] = ["plica"]
    filenames: ClassVar[list[str]] = ["*.plica"]
    mimetypes: ClassVar[list[str]] = ["text/x-plica"]

    tokens: ClassVar[dict[str, _Rules]] = {
        "root": [
            (r"\s+", Whitespace),
            (patterns.COMMENT, Comment.Single),
            (r'"', String.Double, "text"),
            (
                rf"({patterns.any_of(set(words().declarations) - set(patterns.NAMELESS))})"
                rf"([ \t]+)(?!{patterns.any_of(words().values)})({patterns.NAME})",
                bygroups(Keyword.Declaration, Whitespace, Name.Class),
            ),
            (
                rf"({patterns.NUMBER})([ \t]*)({patterns.unit()})",
                bygroups(Number, Whitespace, Keyword.Type),
            ),
            (patterns.NUMBER, Number),
            (patterns.any_of(words().declarations), Keyword.Declaration),
            (patterns.any_of(words().facts), Keyword),
            (patterns.any_of(words().values), Keyword.Constant),
            (patterns.any_of(words().connecting), Operator.Word),
            (patterns.AXIS, Name.Constant),
            (patterns.PLACEHOLDER, Name.Variable),
            (patterns.NAME, Name),
            (r"\.\.|=", Operator),
            (r"[{}(),.]", Punctuation),
        ],
        "text": [
            (patterns.ESCAPE, String.Escape),
            (patterns.PLACEHOLDER, String.Interpol),
            (r'[^"\\{\n]+|\{', String.Double),
            (r'"', String.Double, "#pop"),
            (r"\n", Whitespace, "#pop"),
        ],
    }


KEYWORDS: frozenset[_TokenType] = frozenset((Keyword, Keyword.Declaration, Keyword.Constant, Operator.Word))
"""What words of the language are coloured as."""
