"""Phrases say what the grammar says: the same words in the same places, a name for each part."""

from __future__ import annotations

import re

import pytest
from lark.grammar import Rule

from plica.syntax.fact_kinds import FACT_KINDS, FactKind
from plica.syntax.parser_tables import parser

# What a phrase writes as one part and the grammar as several symbols.
LISTS = {kind.key for kind in FACT_KINDS.values() if kind.listed}


def rules_of(key: str) -> list[Rule]:
    return [rule for rule in parser().rules if (rule.alias or rule.origin.name) == key]


def children_of(rule: Rule) -> list[str | None]:
    """The terminals and rules of a rule, None for each symbol of an optional part that this form lacks."""
    symbols: list[str | None] = []
    written = iter(rule.expansion)
    for empty in rule.options.empty_indices or [False] * len(rule.expansion):
        symbols.append(None if empty else next(written).name)
    return symbols


@pytest.mark.parametrize("kind", [kind for kind in FACT_KINDS.values() if not kind.listed], ids=lambda kind: kind.key)
def test_a_phrase_has_a_symbol_for_each_child_of_the_rule(kind: FactKind) -> None:
    rules = rules_of(kind.key)
    assert rules, "the grammar knows no such fact"
    terminals = {terminal.name: terminal.pattern.value for terminal in parser().terminals}
    for rule in rules:
        children = children_of(rule)
        assert len(children) == len(kind.symbols)
        for symbol, child in zip(kind.symbols, children, strict=True):
            if child is None:
                continue
            if not symbol.startswith("{"):
                assert terminals[child] == symbol
            elif child in terminals:
                assert not re.fullmatch(r"\w+", terminals[child]) or symbol == "{below}", "a part is no fixed word"


def test_every_fact_of_the_grammar_has_a_kind() -> None:
    facts = {
        rule.alias or (rule.expansion[0].name if len(rule.expansion) == 1 else rule.origin.name)
        for rule in parser().rules
        if rule.origin.name.endswith("_fact")
    }
    assert {name for name in facts if not name.endswith("_fact")} == set(FACT_KINDS) - {"strength"}
