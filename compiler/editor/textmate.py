"""The grammar file for editors that colour text with TextMate grammars (a plain JSON file of regular expressions).

`python -m plica.editor.textmate grammar/plica.tmLanguage.json` writes it anew.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from plica.editor import patterns
from plica.syntax.keywords import words

SCOPE = "source.plica"


def grammar() -> dict[str, Any]:
    """The grammar as JSON data."""
    return {
        "name": "Plica",
        "scopeName": SCOPE,
        "fileTypes": ["plica"],
        "patterns": [
            _match("comment.line.double-slash.plica", patterns.COMMENT.replace("[^\\n]*", ".*$")),
            _text(),
            _declaration(),
            _quantity(),
            _match("keyword.declaration.plica", patterns.any_of(words().declarations)),
            _match("keyword.other.fact.plica", patterns.any_of(words().facts)),
            _match("constant.language.plica", patterns.any_of(words().values)),
            _match("keyword.operator.word.plica", patterns.any_of(words().connecting)),
            _match("constant.language.axis.plica", patterns.AXIS),
            _match("variable.parameter.plica", patterns.PLACEHOLDER + r"(?![\w{])"),
            # Last, and whole, so that no part of a name is taken for a word, an axis or a number.
            _match("variable.other.plica", patterns.NAME),
            _match("keyword.operator.plica", r"\.\.|="),
        ],
    }


def grammar_text() -> str:
    """The grammar as the text of its file."""
    return json.dumps(grammar(), indent=2, ensure_ascii=False) + "\n"


def _match(scope: str, expression: str) -> dict[str, Any]:
    return {"name": scope, "match": expression}


def _text() -> dict[str, Any]:
    return {
        "name": "string.quoted.double.plica",
        "begin": '"',
        "end": '"|$',
        "patterns": [
            _match("constant.character.escape.plica", patterns.ESCAPE),
            _match("variable.parameter.plica", patterns.PLACEHOLDER),
        ],
    }


def _declaration() -> dict[str, Any]:
    named = patterns.any_of(set(words().declarations) - set(patterns.NAMELESS))
    return {
        "match": rf"({named})[ \t]+(?!{patterns.any_of(words().values)})({patterns.NAME})",
        "captures": {
            "1": {"name": "keyword.declaration.plica"},
            "2": {"name": "entity.name.type.plica"},
        },
    }


def _quantity() -> dict[str, Any]:
    return {
        "match": rf"({patterns.NUMBER})(?:[ \t]*({patterns.unit()}))?",
        "captures": {"1": {"name": "constant.numeric.plica"}, "2": {"name": "keyword.other.unit.plica"}},
    }


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(grammar_text(), "utf-8")
