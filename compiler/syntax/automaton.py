"""Reads texts that have no mistake: runs the LALR(1) automaton that Lark worked out, without Lark.

Loading Lark takes longer than parsing and binding a spec, and most texts are right. So a text is read here first; one
that cannot be read is parsed by Lark, which says where and what could have stood there. The tables, the lexer and what
is made of a rule's children are the same for both; a test compares them on every spec and on texts with mistakes.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

from plica.named_tuples import NamedTuple
from plica.syntax.builder import Builder
from plica.syntax.lexer import SKIPPED, SpecLexer, Terminal
from plica.syntax.tables import RuleData, TableData, TerminalData, grammar_text, shipped_tables

_END = "$END"
Maker = Callable[[list[Any]], Any]


class _Reduction(NamedTuple):
    """What reducing by a rule does: takes `size` values, makes one of them, and goes on by the rule's name."""

    size: int
    origin: str
    make: Maker


def read(text: str, start: str = "file", begin: int = 0, end: int | None = None) -> Any:
    """What `start` gives for a text, or a part of it: what Lark's parser gives; None where that refuses it."""
    return _automaton().read(text, start, begin, len(text) if end is None else end)


@cache
def _automaton() -> Automaton:
    tables = shipped_tables()
    if tables is None:
        from plica.syntax.parser_tables import computed
        from plica.syntax.shipped import data_of

        tables = data_of(computed(), grammar_text())
    return Automaton(tables, Builder())


class _Actions(dict[int, dict[str, "int | _Reduction"]]):
    """For each state what each symbol leads to, written out when a text first comes there: a state, or a reduction."""

    def __init__(self, tables: TableData, builder: Builder) -> None:
        super().__init__()
        self._tables = tables
        self._builder = builder
        self._reductions: dict[int, _Reduction] = {}

    def __missing__(self, state: int) -> dict[str, int | _Reduction]:
        symbols, targets = self._tables.states[state]
        names = self._tables.symbols
        leads = [target if target < len(self._tables.states) else self._reduction(target) for target in targets]
        actions = self[state] = dict(zip([names[symbol] for symbol in symbols], leads, strict=True))
        return actions

    def _reduction(self, target: int) -> _Reduction:
        known = self._reductions.get(target)
        if known is None:
            rule = RuleData(*self._tables.rules[target - len(self._tables.states)])
            known = self._reductions[target] = _Reduction(len(rule.expansion), rule.origin, _maker(rule, self._builder))
        return known


class Automaton:
    """The automaton of some tables; holds no state between texts."""

    def __init__(self, tables: TableData, builder: Builder) -> None:
        self._starts, self._ends = tables.starts, tables.ends
        self._actions = _Actions(tables, builder)
        terminals = [TerminalData(*one) for one in tables.terminals if one[0] not in tables.ignored]
        self._lexer = SpecLexer([terminal_of(one) for one in terminals], self._actions)

    def read(self, text: str, start: str, begin: int, end: int) -> Any:
        """As the function `read`."""
        actions, token_at, skip = self._actions, self._lexer.token_at, SKIPPED.match
        states, values = [self._starts[start]], list[Any]()
        final, position = self._ends[start], begin
        while True:
            position = skip(text, position, end).end()  # type: ignore[union-attr]  # it matches nothing, too
            token = token_at(text, position, end, states[-1]) if position < end else None
            symbol = _END if token is None else token.type
            action = actions[states[-1]].get(symbol)
            while type(action) is _Reduction:
                size, origin, make = action
                taken = values[-size:] if size else []
                if size:
                    del states[-size:], values[-size:]
                values.append(make(taken))
                states.append(actions[states[-1]][origin])  # type: ignore[arg-type]  # a rule's name leads to a state
                if token is None and states[-1] == final:
                    return values[-1]
                action = actions[states[-1]].get(symbol)
            if action is None or token is None:
                return None
            states.append(action)  # type: ignore[arg-type]  # it is no reduction
            values.append(token)
            position = token.end_pos


def terminal_of(data: TerminalData) -> Terminal:
    """A terminal as the lexer takes it."""
    assert not data.flags, "no terminal of the grammar has flags"
    return Terminal(data.name, data.kind == "str", data.value, data.width[1], data.priority)


def _maker(rule: RuleData, builder: Builder) -> Maker:
    """What makes one value of a rule's children, as Lark's `ParseTreeBuilder` puts it together for our options: all
    tokens are kept, what an optional part lacks is None, what a rule whose name begins with `_` gives is put in its
    place, and a rule with `?` that gives one child is that child.
    """
    assert rule.keep_all_tokens, "the grammar keeps all tokens"
    name = rule.alias or rule.template_source or rule.origin
    passes_on = rule.expand1 and not rule.alias
    own: Maker | None = getattr(builder, name, None)
    if own is None:
        assert passes_on or name.startswith("_"), f"nothing is made of the rule {name}"
    make = own or (_only if passes_on else _listed)
    arranged = _arranged(rule)

    def made(children: list[Any]) -> Any:
        if arranged is not None:
            children = arranged(children)
        return children[0] if passes_on and len(children) == 1 else make(children)

    return made if passes_on or arranged is not None else make


def _listed(children: list[Any]) -> list[Any]:
    return children


def _only(children: list[Any]) -> Any:
    raise AssertionError(f"nothing is made of {len(children)} children of a rule")


def _arranged(rule: RuleData) -> Callable[[list[Any]], list[Any]] | None:
    """The change from a rule's symbols to the children that are built of; None where there is none."""
    # The places of the written rule: the number of a symbol, or -1 for one that is not there.
    numbers = iter(range(len(rule.expansion)))
    absent = rule.empty_indices or [False] * len(rule.expansion)
    places = [-1 if is_absent else next(numbers) for is_absent in absent]
    inserted = {
        number for number, symbol in enumerate(rule.expansion) if isinstance(symbol, str) and symbol.startswith("_")
    }
    if not inserted and -1 not in places:
        return None

    def arranged(children: list[Any]) -> list[Any]:
        result: list[Any] = []
        for place in places:
            if place in inserted:
                # The first of a row is its whole beginning, which nobody else holds: adding to it keeps rows linear.
                if result:
                    result += children[place]
                else:
                    result = children[place]
            else:
                result.append(children[place] if place >= 0 else None)
        return result

    return arranged
