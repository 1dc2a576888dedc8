"""The contextual lexer: at each place only the words that the parser could take there are looked for.

Lark's own compiles one regular expression for each set of words that may stand somewhere, which takes longer than
parsing a small spec. This one looks keywords up in a table and compiles each other terminal once, when it is first
needed. It also takes keywords as whole words only: `drivers` is never `driver s`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from plica.named_tuples import NamedTuple

UNKNOWN = "UNKNOWN"  # the type of a token that cannot stand where it does; the parser reports it

SKIPPED = re.compile(r"(?:[ \t\f\r\n]++|//[^\n]*+)*+")
_WORD = re.compile(r"\w+")


class Token(str):
    """A word or sign of a text, with its terminal and its offsets. It goes through Lark's parser as its own do."""

    __slots__ = ("end_pos", "start_pos", "type")

    type: str
    start_pos: int
    end_pos: int
    line = column = end_line = end_column = None  # which Lark copies to the token that ends a text


class Terminal(NamedTuple):
    """A terminal of the grammar. `value`: a fixed text, or where it is not `is_fixed` an expression."""

    name: str
    is_fixed: bool
    value: str
    longest: int
    priority: int

    @property
    def expression(self) -> str:
        """What finds it."""
        return re.escape(self.value) if self.is_fixed else self.value


class _Choice(NamedTuple):
    """What may stand somewhere, in the order in which it is tried."""

    first: tuple[str, ...]  # terminals that go before keywords
    keywords: Mapping[str, str]  # word to terminal
    others: tuple[str, ...]


class SpecLexer:
    """Finds tokens; `states`: what each state of the parser takes, also what is no terminal.

    Made once for each parser, without state between texts.
    """

    def __init__(self, terminals: Iterable[Terminal], states: Mapping[int, Iterable[str]]) -> None:
        self._states = states
        self._choices: dict[int, _Choice] = {}
        self._compiled: dict[str, re.Pattern[str]] = {}
        self._terminals = {terminal.name: terminal for terminal in sorted(terminals, key=_order)}
        self._ranks = {name: rank for rank, name in enumerate(self._terminals)}

    def token_at(self, text: str, start: int, end: int, state: int) -> Token:
        """The token that begins at an offset of a text up to an end, for a parser in this state."""
        choice = self._choices.get(state) or self._choice(state)
        for name in choice.first:
            match = (self._compiled.get(name) or self._pattern(name)).match(text, start, end)
            if match:
                return _made(name, match[0], start)
        word = _WORD.match(text, start, end)
        if word and word[0] in choice.keywords:
            return _made(choice.keywords[word[0]], word[0], start)
        for name in choice.others:
            match = (self._compiled.get(name) or self._pattern(name)).match(text, start, end)
            if match:
                return _made(name, match[0], start)
        return _made(UNKNOWN, text[start], start)

    def _choice(self, state: int) -> _Choice:
        accepted = sorted((name for name in self._states[state] if name in self._ranks), key=self._ranks.__getitem__)
        first: list[str] = []
        keywords: dict[str, str] = {}
        others: list[str] = []
        for name in accepted:
            terminal = self._terminals[name]
            if terminal.is_fixed and terminal.value.isalpha():
                keywords[terminal.value] = name
            else:
                (first if terminal.priority > 0 else others).append(name)
        choice = self._choices[state] = _Choice(tuple(first), keywords, tuple(others))
        return choice

    def _pattern(self, name: str) -> re.Pattern[str]:
        compiled = self._compiled[name] = re.compile(self._terminals[name].expression)
        return compiled


def _order(terminal: Terminal) -> tuple[int, int, int, str]:
    """Lark's order: by priority, then what can be longer first."""
    return -terminal.priority, -terminal.longest, -len(terminal.value), terminal.name


def _made(name: str, text: str, start: int) -> Token:
    token = Token(text)
    token.type = name
    token.start_pos = start
    token.end_pos = start + len(text)
    return token
