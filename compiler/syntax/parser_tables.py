"""The Lark parser of `plica.lark`, from the tables that are shipped with the grammar where these are valid."""

from __future__ import annotations

import json
from functools import cache
from pkgutil import get_data
from typing import Any

from lark import Lark

from plica.syntax import shipped
from plica.syntax.builder import Builder
from plica.syntax.lexer import SpecLexer

STARTS = ("file", "declaration", "each_head")
_PLUGINS: dict[str, type] = {"ContextualLexer": SpecLexer}


def grammar_text() -> str:
    """The text of the grammar."""
    text = _packaged("plica.lark")
    assert text is not None, "the package holds its grammar"
    return text


def _packaged(file: str) -> str | None:
    # pkgutil, which lark imports anyway, and not importlib.resources, which takes as long as a small parse.
    try:
        data = get_data("plica.grammar", file)
    except OSError:
        return None
    return None if data is None else data.decode("utf-8")


def lexer() -> SpecLexer:
    """The parser's lexer."""
    result = parser().parser.lexer
    assert isinstance(result, SpecLexer)
    return result


@cache
def parser() -> Lark:
    """The parser; it holds no state between texts."""
    data = _packaged(shipped.FILE)
    tables = json.loads(data) if data is not None else {}
    if tables.get("seal") != shipped.seal(grammar_text()):
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
