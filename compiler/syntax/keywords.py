"""The words of the language by the part they play, read off the grammar; editor files are made from this list."""

from __future__ import annotations

import re
from functools import cache

from lark.grammar import Rule, Terminal

from plica.named_tuples import NamedTuple
from plica.syntax.parser_tables import parser
from plica.units import UNITS

_CHOICES = re.compile(r"\(\?:([a-z|-]+)\)")
_NAMED_BY_RULE = "declaration"


class Keywords(NamedTuple):
    """Sorted; a word with several parts stands in the first of them.

    declarations: words that begin a declaration; facts: that begin a fact; values: of which one is chosen (sides,
    spaces, readings, kinds of curves); connecting: all others; units: the units of quantities.
    """

    declarations: tuple[str, ...]
    facts: tuple[str, ...]
    values: tuple[str, ...]
    connecting: tuple[str, ...]
    units: tuple[str, ...]

    @property
    def all(self) -> frozenset[str]:
        """Every word but the units."""
        return frozenset((*self.declarations, *self.facts, *self.values, *self.connecting))


@cache
def terminal_words() -> dict[str, tuple[str, ...]]:
    """The words that each terminal of the grammar stands for, by its name; terminals without words are left out."""
    result: dict[str, tuple[str, ...]] = {}
    for terminal in parser().terminals:
        choices = _CHOICES.match(terminal.pattern.value)
        if choices and terminal.name != "RULE":
            result[terminal.name] = tuple(choices[1].split("|"))
        elif terminal.pattern.value.replace("-", "").isalpha():
            result[terminal.name] = (terminal.pattern.value,)
    return result


@cache
def words() -> Keywords:
    """The words of the grammar."""
    rules = parser().rules
    kinds = {rule.expansion[0].name for rule in rules if rule.origin.name == _NAMED_BY_RULE}
    first_of = {
        "declarations": _first_words(rules, {"file", "each_head", *kinds}),
        "facts": _first_words(rules, {name for name in _origins(rules) if name.endswith("_fact")} | {"skeleton_joint"}),
        "values": _first_words(rules, {"reading", "over_item"}) | _chosen(),
    }
    everything = {word for listed in terminal_words().values() for word in listed}
    taken: set[str] = set()
    parts = []
    for part in first_of.values():
        parts.append(tuple(sorted(part - taken)))
        taken |= part
    declarations, facts, values = parts
    return Keywords(declarations, facts, values, tuple(sorted(everything - taken)), tuple(sorted(UNITS)))


def _origins(rules: list[Rule]) -> set[str]:
    return {rule.origin.name for rule in rules}


def _first_words(rules: list[Rule], origins: set[str]) -> set[str]:
    """The words with which the rules of these names begin."""
    first = {rule.expansion[0] for rule in rules if rule.origin.name in origins and rule.expansion}
    return {word for symbol in first if isinstance(symbol, Terminal) for word in terminal_words().get(symbol.name, ())}


def _chosen() -> set[str]:
    """Keywords of terminals that are a choice of several."""
    return {word for listed in terminal_words().values() if len(listed) > 1 for word in listed}
