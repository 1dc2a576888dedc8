"""The parser's tables made of a Lark parser, and a Lark parser made of them, so that no command has to compute them.

They are valid for one text of the grammar. A Lark parser is made of them only for the version of Lark that they come
from; for another it is computed anew, which takes a quarter of a second. `python -m plica.syntax.shipped FILE` writes
the file; the numbering is our own, because Lark's differs from run to run.
"""

from __future__ import annotations

import json
import sys
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from lark import Lark
from lark import __version__ as lark_version
from lark.grammar import NonTerminal, Rule, RuleOptions, Symbol, Terminal
from lark.lexer import PatternRE, PatternStr, TerminalDef
from lark.parsers.lalr_analysis import IntParseTable, Reduce, Shift
from lark.parsers.lalr_parser import LALR_Parser, _Parser

from plica.syntax.tables import RuleData, TableData, TerminalData, grammar_text

# ---- from Lark to data --------------------------------------------------------------------------------


def data_of(lark: Lark, grammar: str) -> TableData:
    """The tables of a parser; the same on every run."""
    table: Any = lark.parser.parser._parse_table
    rules = sorted({*lark.rules, *_reduced(table.states)}, key=_rule_key)
    symbols = sorted({name for actions in table.states.values() for name in actions})
    numbers = {state: number for number, state in enumerate(_visited(table))}
    rule_numbers = {rule: len(numbers) + number for number, rule in enumerate(rules)}
    symbol_numbers = {name: number for number, name in enumerate(symbols)}

    def row(actions: Mapping[str, tuple[Any, Any]]) -> tuple[list[int], list[int]]:
        entries = sorted(
            (symbol_numbers[name], rule_numbers[target] if action is Reduce else numbers[target])
            for name, (action, target) in actions.items()
        )
        return [symbol for symbol, _ in entries], [target for _, target in entries]

    return TableData(
        lark=lark_version,
        grammar=grammar,
        terminals=[_terminal_data(one) for one in sorted(lark.terminals, key=lambda one: one.name)],
        ignored=sorted(lark.lexer_conf.ignore),
        rules=[_rule_data(rule) for rule in rules],
        own_rules=[rule_numbers[rule] - len(numbers) for rule in lark.rules],
        symbols=symbols,
        starts={start: numbers[state] for start, state in sorted(table.start_states.items())},
        ends={start: numbers[state] for start, state in sorted(table.end_states.items())},
        states=[row(table.states[state]) for state in numbers],
    )


def _reduced(states: Mapping[int, Mapping[str, tuple[Any, Any]]]) -> Iterator[Rule]:
    for actions in states.values():
        yield from (target for action, target in actions.values() if action is Reduce)


def _visited(table: Any) -> list[int]:
    """The states, those first that are reached first from the starts."""
    result = dict.fromkeys(table.start_states[start] for start in sorted(table.start_states))
    waiting = deque(result)
    while waiting:
        actions = table.states[waiting.popleft()]
        for _, (action, target) in sorted(actions.items(), key=lambda item: item[0]):
            if action is Shift and target not in result:
                result[target] = None
                waiting.append(target)
    return list(result)


def _rule_key(rule: Rule) -> tuple[str, int, list[str]]:
    return str(rule.origin.name), rule.order, [symbol.name for symbol in rule.expansion]


def _rule_data(rule: Rule) -> RuleData:
    options = rule.options
    expansion = [
        [symbol.name, int(symbol.filter_out)] if isinstance(symbol, Terminal) else str(symbol.name)
        for symbol in rule.expansion
    ]
    settings = (options.keep_all_tokens, options.expand1, options.priority, options.template_source)
    return RuleData(str(rule.origin.name), expansion, rule.order, rule.alias, *settings, list(options.empty_indices))


def _terminal_data(terminal: TerminalDef) -> TerminalData:
    pattern = terminal.pattern
    width = [pattern.min_width, pattern.max_width]
    flags = sorted(pattern.flags)
    return TerminalData(terminal.name, pattern.type, pattern.value, flags, pattern.raw, width, terminal.priority)


# ---- from data to Lark --------------------------------------------------------------------------------


class _ShippedParser(LALR_Parser):
    """Lark's parser over tables that are already in its form."""

    @classmethod
    def deserialize(  # type: ignore[override]  # its parent's takes two more arguments than its grandparent's
        cls, data: IntParseTable, memo: Any, callbacks: Any, debug: bool = False
    ) -> _ShippedParser:
        parser = cls.__new__(cls)
        parser._parse_table = data  # type: ignore[assignment]  # states as numbers, as Lark keeps them itself
        parser.parser = _Parser(data, callbacks, debug)
        return parser


def lark_of(data: TableData, options: Mapping[str, Any], plugins: Mapping[str, type]) -> Lark:
    """The parser that has these tables; `options` as those that it was made with."""
    terminals = [_terminal(TerminalData(*one)) for one in data.terminals]
    rules = [_rule(RuleData(*one)) for one in data.rules]
    memo: dict[int, TerminalDef | Rule] = dict(enumerate([*terminals, *rules]))
    lexer_conf = {
        "terminals": [{"@": number} for number in range(len(terminals))],
        "ignore": data.ignored,
        "g_regex_flags": 0,
        "use_bytes": False,
        "lexer_type": "contextual",
    }
    own_rules = [{"@": len(terminals) + number} for number in data.own_rules]
    whole = {
        "parser": {
            "lexer_conf": lexer_conf,
            "parser_conf": {"rules": own_rules, "start": list(data.starts), "parser_type": "lalr"},
            "parser": _table(data, rules),
        },
        "rules": own_rules,
        "options": {name: value for name, value in options.items() if name != "transformer"},
    }
    chosen = {"_plugins": {**plugins, "LALR_Parser": _ShippedParser}, "transformer": options["transformer"]}
    # What Lark's own generated parsers call.
    return Lark._load_from_dict(whole, memo, **chosen)  # type: ignore[no-untyped-call,no-any-return]


def _table(data: TableData, rules: Sequence[Rule]) -> IntParseTable:
    symbols = data.symbols
    targets: list[tuple[Any, Any]] = [(Shift, state) for state in range(len(data.states))]
    targets += [(Reduce, rule) for rule in rules]
    states = {
        state: dict(zip([symbols[one] for one in names], [targets[one] for one in leads], strict=True))
        for state, (names, leads) in enumerate(data.states)
    }
    return IntParseTable(states, data.starts, data.ends)  # type: ignore[no-untyped-call]


def _rule(data: RuleData) -> Rule:
    symbols: list[Symbol] = [
        NonTerminal(symbol) if isinstance(symbol, str) else Terminal(symbol[0], bool(symbol[1]))
        for symbol in data.expansion
    ]
    settings = RuleOptions(
        data.keep_all_tokens, data.expand1, data.priority, data.template_source, tuple(data.empty_indices)
    )
    return Rule(NonTerminal(data.origin), symbols, data.order, data.alias, settings)


def _terminal(data: TerminalData) -> TerminalDef:
    pattern = (PatternRE if data.kind == "re" else PatternStr)(data.value, data.flags, data.raw)
    if isinstance(pattern, PatternRE):
        pattern._width = data.width
    return TerminalDef(data.name, pattern, data.priority)


# ---- the file ------------------------------------------------------------------------------------------


def written(data: TableData) -> str:
    """The data as JSON, with a line for each of its entries."""

    def compact(value: Any) -> str:
        return json.dumps(value, separators=(",", ":"), ensure_ascii=False)

    parts = []
    for key, value in data._asdict().items():
        long = isinstance(value, list) and value and isinstance(value[0], list | tuple)
        shown = "[\n" + ",\n".join(map(compact, value)) + "\n]" if long else compact(value)
        parts.append(f"{compact(key)}: {shown}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


if __name__ == "__main__":
    from plica.syntax.parser_tables import computed

    Path(sys.argv[1]).write_text(written(data_of(computed(), grammar_text())), "utf-8", newline="\n")
