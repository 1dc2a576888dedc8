"""The Lark parser, built from `plica.lark` once and kept in the user's cache folder.

Building the tables takes a tenth of a second, which a command that is run on every save would feel; loading
them takes a sixth of that. Where the cache folder cannot be used the tables are built anew each time.
"""

from __future__ import annotations

import os
from functools import cache
from pkgutil import get_data

from lark import Lark
from lark import __version__ as lark_version

from plica.syntax.builder import Builder
from plica.syntax.lexer import SpecLexer
from plica.user_cache import cache_folder

STARTS = ("file", "declaration", "each_head")


def grammar_text() -> str:
    """The text of the grammar."""
    # pkgutil, which lark imports anyway, and not importlib.resources, which takes as long as a small parse.
    data = get_data("plica.grammar", "plica.lark")
    assert data is not None, "the package holds its grammar"
    return data.decode("utf-8")


def _cache_file(grammar: str) -> str | None:
    """Where the tables are kept, or None where no private folder of this user's can be written."""
    from zlib import crc32

    folder = cache_folder(os.environ)
    if folder is None:
        return None
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if hasattr(os, "getuid") and folder.stat().st_uid != os.getuid():
            return None  # the file is unpickled: never one that somebody else could have put there
    except OSError:
        return None
    if not os.access(folder, os.W_OK):
        return None
    return str(folder / f"grammar-{crc32(grammar.encode()):08x}-lark-{lark_version}.tables")


def lexer() -> SpecLexer:
    """The parser's lexer."""
    result = parser().parser.lexer
    assert isinstance(result, SpecLexer)
    return result


@cache
def parser() -> Lark:
    """The parser; it holds no state between texts."""
    grammar = grammar_text()
    return Lark(
        grammar,
        parser="lalr",
        lexer="contextual",
        start=list(STARTS),
        maybe_placeholders=True,
        keep_all_tokens=True,
        transformer=Builder(),
        _plugins={"ContextualLexer": SpecLexer},
        cache=_cache_file(grammar) or False,
    )
