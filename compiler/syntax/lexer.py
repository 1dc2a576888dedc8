"""The contextual lexer: at each place only the words that the parser could take there are looked for.

Lark's own compiles one regular expression for each set of words that may stand somewhere, which takes longer than
parsing a small spec. This one looks keywords up in a table and compiles each other terminal once, when it is first
needed. It also takes keywords as whole words only: `drivers` is never `driver s`.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from lark import Token
from lark.common import LexerConf
from lark.lexer import LexerState, PatternStr

from plica.named_tuples import NamedTuple

UNKNOWN = "UNKNOWN"  # the type of a token that cannot stand where it does; the parser reports it

SKIPPED = re.compile(r"(?:[ \t\f\r\n]++|//[^\n]*+)*+")
_WORD = re.compile(r"\w+")


class _Choice(NamedTuple):
    """What may stand somewhere, in the order in which it is tried."""

    first: tuple[str, ...]  # terminals that go before keywords
    keywords: Mapping[str, str]  # word to terminal
    others: tuple[str, ...]


class SpecLexer:
    """Takes the place of Lark's contextual lexer; made once for each parser, without state between texts."""

    def __init__(
        self, conf: LexerConf, states: Mapping[int, Collection[str]], always_accept: Collection[str] = ()
    ) -> None:
        self._states = states
        self._choices: dict[int, _Choice] = {}
        self._compiled: dict[str, re.Pattern[str]] = {}
        self._patterns = {
            terminal.name: terminal.pattern
            for terminal in sorted(conf.terminals, key=_order)
            if terminal.name not in conf.ignore
        }
        self._ranks = {name: rank for rank, name in enumerate(self._patterns)}
        self._priorities = {terminal.name: terminal.priority for terminal in conf.terminals}

    def lex(self, lexer_state: LexerState, parser_state: Any) -> Iterator[Token]:
        """The tokens of a text, each chosen by what the parser can take when it is asked for."""
        text, position, end = lexer_state.text.text, lexer_state.text.start, lexer_state.text.end
        while True:
            position = SKIPPED.match(text, position, end).end()  # type: ignore[union-attr]
            if position >= end:
                return
            token = self._token(text, position, end, parser_state.position)
            yield token
            position = token.end_pos  # type: ignore[assignment]

    def token_at(self, text: str, start: int, state: int) -> Token:
        """The token that begins at an offset, for a parser in this state."""
        return self._token(text, start, len(text), state)

    def _token(self, text: str, start: int, end: int, state: int) -> Token:
        choice = self._choices.get(state) or self._choice(state)
        for name in choice.first:
            match = self._pattern(name).match(text, start, end)
            if match:
                return _made(name, match)
        word = _WORD.match(text, start, end)
        if word and word[0] in choice.keywords:
            return _made(choice.keywords[word[0]], word)
        for name in choice.others:
            match = self._pattern(name).match(text, start, end)
            if match:
                return _made(name, match)
        return Token(UNKNOWN, text[start], start, end_pos=start + 1)

    def _choice(self, state: int) -> _Choice:
        accepted = sorted((name for name in self._states[state] if name in self._ranks), key=self._ranks.__getitem__)
        first: list[str] = []
        keywords: dict[str, str] = {}
        others: list[str] = []
        for name in accepted:
            pattern = self._patterns[name]
            if isinstance(pattern, PatternStr) and pattern.value.isalpha():
                keywords[pattern.value] = name
            else:
                (first if self._priorities[name] > 0 else others).append(name)
        choice = _Choice(tuple(first), keywords, tuple(others))
        self._choices[state] = choice
        return choice

    def _pattern(self, name: str) -> re.Pattern[str]:
        compiled = self._compiled.get(name)
        if compiled is None:
            compiled = self._compiled[name] = re.compile(self._patterns[name].to_regexp())
        return compiled


def _order(terminal: Any) -> tuple[int, int, int, str]:
    """Lark's order: by priority, then what can be longer first."""
    return -terminal.priority, -terminal.pattern.max_width, -len(terminal.pattern.value), terminal.name


def _made(name: str, match: re.Match[str]) -> Token:
    return Token(name, match[0], match.start(), end_pos=match.end())
