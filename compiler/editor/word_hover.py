"""What hovering tells of what is no name: keywords, units, rules that are accepted, libraries."""

from __future__ import annotations

import re
from typing import Any

from plica.diagnostics.catalogue import rules
from plica.editor.node_search import path_to
from plica.editor.open_documents import Analysis
from plica.editor.reference import explanation
from plica.foreign import markdown
from plica.foreign import markdown_code as code
from plica.quantities import number
from plica.syntax import nodes
from plica.syntax.keywords import words
from plica.units import UNITS, units_of

MOST_NAMED = 12
_WORD = re.compile(r"[a-z][a-z-]*")


def word_hover(analysis: Analysis, own: nodes.Document, offset: int) -> str | None:
    """What stands at an offset, as Markdown; None where nothing is known of it."""
    path = path_to(own.declarations, offset)
    innermost = path[-1] if path else None
    if isinstance(innermost, nodes.Quantity):
        return _quantity(innermost)
    use = next((node for node in path if isinstance(node, nodes.UseLibrary)), None)
    if use is not None and innermost in (use.path, use.prefix):
        return _library(use, analysis, own)
    return _keyword(path, own, offset)


def _quantity(node: nodes.Quantity) -> str | None:
    """A number in every unit of what it measures."""
    unit = UNITS.get(node.unit)
    if unit is None:
        return None
    inside = node.number * unit.size
    others = [name for name in units_of(unit.dimension) if name != node.unit]
    told = ", ".join(f"{inside / UNITS[name].size:.6g} {name}" for name in others)
    return f"{unit.dimension} {number(node.number)} {node.unit}" + (f" = {told}" if told else "")


def _library(use: nodes.UseLibrary, analysis: Analysis, own: nodes.Document) -> str | None:
    """What a library declares, by the names that these have here."""
    place = own.span(use)
    prefix = f"{use.prefix.text}_" if use.prefix else ""
    ending = use.path.text.replace("\\", "/").rpartition("/")[2]
    names = dict.fromkeys(
        f"{symbol.kind} {code(symbol.name)}"
        for symbol in analysis.symbols.declared
        if symbol.span.source.path.endswith(f"/{ending}") and symbol.name.startswith(prefix)
    )
    if not names:
        return None
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    head = f"library {code(use.path.text)}" + (f" as {code(use.prefix.text)}" if use.prefix else "")
    return f"{head}, line {place.source.line_and_column(place.start)[0]}: {', '.join(list(names)[:MOST_NAMED])}{more}"


def _keyword(path: list[Any], own: nodes.Document, offset: int) -> str | None:
    if path and isinstance(path[-1], nodes.Name | nodes.Text | nodes.JointName | nodes.Reference):
        return _rule(path[-1].text) if isinstance(path[-1], nodes.Name) else None
    text = own.source.text
    start = offset
    while start > 0 and (text[start - 1].isalnum() or text[start - 1] in "_-"):
        start -= 1
    match = _WORD.match(text, start)
    if match is None or any(comment.start <= offset < comment.end for comment in own.comments):
        return None
    if match[0] in rules():
        return _rule(match[0])
    if match[0] not in words().all:
        return None
    kinds = tuple(node.kind for node in reversed(path) if isinstance(node, nodes.Block))
    entry = explanation(text[start:], kinds)
    return None if entry is None else f"{code(entry.phrase)}\n\n{entry.text}"


def _rule(name: str) -> str | None:
    rule = rules().get(name)
    return None if rule is None else f"{rule.severity} {code(f'{rule.code} {rule.name}')}\n\n{markdown(rule.summary)}"
