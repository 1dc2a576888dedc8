"""The Lark parser of `plica.lark`, from the tables that are shipped with the grammar where these are valid.

It reads what has a mistake, tells rules and terminals, and serves the editor; texts without mistakes are read by
`plica.syntax.automaton`, which has the same tables.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from functools import cache
from typing import Any

from lark import Lark
from lark import __version__ as lark_version
from lark.common import LexerConf
from lark.lexer import LexerState, PatternStr, TerminalDef

from plica.syntax import shipped
from plica.syntax.builder import Builder
from plica.syntax.lexer import SKIPPED, SpecLexer, Terminal, Token
from plica.syntax.tables import grammar_text, shipped_tables

STARTS = ("file", "declaration", "each_head")


class LarkLexer:
    """Our lexer in the place of Lark's contextual one; made once for each parser, without state between texts."""

    def __init__(
        self, conf: LexerConf, states: Mapping[int, Collection[str]], always_accept: Collection[str] = ()
    ) -> None:
        terminals = [_terminal(one) for one in conf.terminals if one.name not in conf.ignore]
        self.words = SpecLexer(terminals, states)

    def lex(self, lexer_state: LexerState, parser_state: Any) -> Iterator[Token]:
        """The tokens of a text, each chosen by what the parser can take when it is asked for."""
        text, position, end = lexer_state.text.text, lexer_state.text.start, lexer_state.text.end
        while True:
            position = SKIPPED.match(text, position, end).end()  # type: ignore[union-attr]
            if position >= end:
                return
            token = self.words.token_at(text, position, end, parser_state.position)
            yield token
            position = token.end_pos


def _terminal(terminal: TerminalDef) -> Terminal:
    pattern = terminal.pattern
    is_fixed = isinstance(pattern, PatternStr)
    value = pattern.value if is_fixed else pattern.to_regexp()
    return Terminal(terminal.name, is_fixed, value, pattern.max_width, terminal.priority)


_PLUGINS: dict[str, type] = {"ContextualLexer": LarkLexer}


def lexer() -> SpecLexer:
    """The parser's lexer."""
    result = parser().parser.lexer
    assert isinstance(result, LarkLexer)
    return result.words


@cache
def parser() -> Lark:
    """The parser; it holds no state between texts."""
    tables = shipped_tables()
    # How Lark keeps its tables is its own business, and differs between versions.
    if tables is None or tables.lark != lark_version:
        return computed()
    return shipped.lark_of(tables, _options(), _PLUGINS)


def computed() -> Lark:
    """The parser with tables worked out from the grammar."""
    return Lark(grammar_text(), **_options(), _plugins=_PLUGINS)


def _options() -> dict[str, Any]:
    return {
        "parser": "lalr",
        "lexer": "contextual",
        "start": list(STARTS),
        "maybe_placeholders": True,
        "keep_all_tokens": True,
        "transformer": Builder(),
    }
