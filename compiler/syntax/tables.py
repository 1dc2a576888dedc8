"""What Lark worked out from the grammar, as the plain data that is shipped with it in `grammar/plica.tables.json`.

Terminals, rules and, for each state of the LALR(1) automaton, what each terminal or rule leads to. The data hold the
text of the grammar that they were made from, and are used for no other. `plica.syntax.shipped` makes them.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import cache
from typing import Any

from plica import grammar
from plica.named_tuples import NamedTuple
from plica.package_data import content

FILE = "plica.tables.json"


class TerminalData(NamedTuple):
    """A terminal: `kind` is `str` for a fixed text, `re` for an expression; `width`: its least and greatest length."""

    name: str
    kind: str
    value: str
    flags: Sequence[str]
    raw: str | None
    width: list[int]
    priority: int


class RuleData(NamedTuple):
    """A rule and its options, as in `lark.grammar`; a symbol is a rule's name, or a terminal's and whether Lark would
    leave it out. `empty_indices`: which places of the written rule have no symbol here.
    """

    origin: str
    expansion: Sequence[str | Sequence[Any]]
    order: int
    alias: str | None
    keep_all_tokens: bool
    expand1: bool
    priority: int | None
    template_source: str | None
    empty_indices: Sequence[bool]


class TableData(NamedTuple):
    """All of the data.

    `lark`: the version that made them. `own_rules`: the numbers of the rules that the grammar states. `starts` and
    `ends`: states by start rule. `states`: for each state the numbers of its symbols, and where each leads: a number
    below the number of states is a state, a higher one less that is a rule to reduce by.
    """

    lark: str
    grammar: str
    terminals: Sequence[Sequence[Any]]
    ignored: list[str]
    rules: Sequence[Sequence[Any]]
    own_rules: Sequence[int]
    symbols: list[str]
    starts: dict[str, int]
    ends: dict[str, int]
    states: Sequence[tuple[Sequence[int], Sequence[int]]]


def grammar_text() -> str:
    """The text of the grammar."""
    text = packaged("plica.lark")
    assert text is not None, "the package holds its grammar"
    return text


def packaged(file: str) -> str | None:
    """A file of the package of the grammar; None where there is none."""
    data = content(grammar, file)
    return None if data is None else data.decode("utf-8")


@cache
def shipped_tables() -> TableData | None:
    """The shipped data; None where they are not those of the grammar that is installed."""
    text = packaged(FILE)
    held = json.loads(text) if text is not None else {}
    if held.get("grammar") != grammar_text():
        return None
    return TableData(**held)
