"""The words and the statements of a text, without what its facts mean: what the formatter works on.

The parser runs over the whole text as for a document, with the same lexer and the same tables, so that the two agree on
what is a mistake and on what each word is; it only leaves the document's nodes unmade.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable
from copy import copy
from functools import cache
from operator import itemgetter
from typing import Any, NamedTuple

from lark.exceptions import UnexpectedInput
from lark.grammar import Rule

from plica.diagnostics import Diagnostics
from plica.source import Source
from plica.syntax import nodes
from plica.syntax.lexer import Token
from plica.syntax.parser import comments_of, parse, readable
from plica.syntax.parser_tables import parser

_WITHOUT_KEYWORD = frozenset({"skeleton_joint", "argument"})  # statements that are no declarations and no facts


class Tokens(NamedTuple):
    """The words and signs of a text as the parser took them: Lark's terminals, texts, offsets, and the parser's states
    before each of them, one entry for each.

    Lists of plain values and not one object for each token: those would keep Python's garbage collector busy.
    """

    kinds: list[str]
    texts: list[str]
    starts: list[int]
    ends: list[int]
    states: list[int]


class Statement(NamedTuple):
    """A declaration, a fact, a joint of a skeleton or an argument, by the indexes of its tokens.

    `end` is one past its last token. `opening` is the index of its `{`, None where it has no block.
    """

    first: int
    end: int
    opening: int | None
    parts: tuple[Statement, ...]


class Structure(NamedTuple):
    """A text that has no mistakes: its words, its comments, and its declarations with what stands in their blocks."""

    source: Source
    tokens: Tokens
    comments: tuple[nodes.Comment, ...]
    statements: tuple[Statement, ...]


def structure_of(source: Source, diagnostics: Diagnostics) -> Structure | None:
    """The structure of one file; None, with the diagnostics of parsing, where it has mistakes."""
    if readable(source, diagnostics) is None:
        return None
    tokens = Tokens([], [], [], [], [])
    try:
        statements = _run(source.text, tokens)
    except UnexpectedInput:
        parse(source, diagnostics)
        return None
    return Structure(source, tokens, comments_of(source.text), tuple(statements))


def _run(text: str, tokens: Tokens) -> list[Statement]:
    """Parse a whole text; what a word is depends on the parser, so tokens are noted while it takes them."""
    reading = parser().parse_interactive(text, start="file")
    taken = reading.parser_state
    taken.parse_conf = copy(taken.parse_conf)  # that of the parser itself serves every text
    taken.parse_conf.callbacks = _callbacks(tokens)  # type: ignore[assignment]  # Lark's keys are rules, too
    feed = taken.feed_token
    add_kind, add_text, add_start, add_end, add_state = (
        tokens.kinds.append,
        tokens.texts.append,
        tokens.starts.append,
        tokens.ends.append,
        tokens.states.append,
    )
    for token in reading.lexer_thread.lex(taken):  # type: ignore[no-untyped-call]
        add_state(taken.position)
        feed(token)  # before it is noted: a statement is complete when the token after it comes
        add_kind(token.type)
        add_text(str(token))
        add_start(token.start_pos)
        add_end(token.end_pos)
    result: list[Statement] = reading.feed_eof()  # type: ignore[no-untyped-call]
    return result


def _callbacks(tokens: Tokens) -> dict[Rule, Callable[[list[Any]], Any]]:
    """What the parser makes of each rule: a statement, statements in a row, or else the rule's first child."""
    kinds, starts = tokens.kinds, tokens.starts

    def statement(children: list[Any]) -> Statement:
        token: Token = children[0]
        first, end = bisect_left(starts, token.start_pos), len(kinds)
        if kinds[end - 1] != "RBRACE":
            return Statement(first, end, None, ())
        parts = tuple(_inside(children))
        return Statement(first, end, (parts[0].first if parts else end - 1) - 1, parts)

    makers: dict[str, Callable[[list[Any]], Any]]
    makers = {"statement": statement, "row": _row, "inside": _inside, "first": itemgetter(0)}
    return {rule: makers[part] for rule, part in _parts_played()}


def _row(children: list[Any]) -> list[Statement]:
    """Statements in a row, and one more."""
    result: list[Statement] = children[0] if type(children[0]) is list else [children[0]]
    result += children[1:]
    return result


def _inside(children: list[Any]) -> list[Statement] | tuple[Statement, ...]:
    """The statements that stand in a block."""
    for child in reversed(children):
        if type(child) is list:
            return child
        if type(child) is Statement:
            return child.parts  # what `override` stands before
    return ()


@cache
def _parts_played() -> tuple[tuple[Rule, str], ...]:
    """The grammar's rules, and what is made of each."""
    rules = parser().rules
    declarations = {rule.expansion[0].name for rule in rules if rule.origin.name == "declaration"}
    named = declarations | _WITHOUT_KEYWORD | {rule.origin.name for rule in rules if rule.origin.name.endswith("_fact")}

    def part_of(rule: Rule) -> str:
        name, last = rule.origin.name, rule.expansion[-1].name
        if name in ("file", "body"):
            return "inside"
        if name.startswith("__") and last in named | {"declaration"}:
            return "row"
        # A rule of one other rule only passes its statement on.
        return "statement" if name in named and (len(rule.expansion) > 1 or last not in named) else "first"

    return tuple([(rule, part_of(rule)) for rule in rules])
