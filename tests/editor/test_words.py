"""Editor files cover the words of the grammar and are current."""

from __future__ import annotations

import json
import re

import pytest

from plica.editor.textmate import grammar, grammar_text
from plica.syntax.keywords import words
from plica.syntax.tables import grammar_text as lark_text
from tests.support.data import ROOT


def words_in_the_grammar_file() -> set[str]:
    """Every keyword as the text of `plica.lark` writes it, found without the parser or the list of words."""
    text = re.sub(r"^//.*$", "", lark_text(), flags=re.MULTILINE)
    rules, _, terminals = text.partition("SIDE.2:")
    quoted = set(re.findall(r'"([a-z][a-z-]*)"', rules))
    choices = re.findall(r"\(\?:([a-z|-]+)\)", "SIDE.2:" + terminals.partition("RULE:")[0])
    return quoted | {word for choice in choices for word in choice.split("|")}


def test_the_list_holds_every_keyword_of_the_grammar() -> None:
    assert words().all == words_in_the_grammar_file()


def test_each_word_has_one_part() -> None:
    parts = (words().declarations, words().facts, words().values, words().connecting)
    assert sum(len(part) for part in parts) == len(words().all)


def test_the_file_for_editors_is_current() -> None:
    path = ROOT / "grammar" / "plica.tmLanguage.json"
    assert path.read_text("utf-8") == grammar_text(), (
        "run: python -m plica.editor.textmate grammar/plica.tmLanguage.json"
    )
    assert json.loads(path.read_text("utf-8"))["scopeName"] == "source.plica"


def test_the_file_for_editors_colours_every_keyword() -> None:
    keywords = [
        re.compile(rule["match"])
        for rule in grammar()["patterns"]
        if rule.get("name", "").startswith(("keyword", "constant"))
    ]
    assert [word for word in words_in_the_grammar_file() if not any(one.fullmatch(word) for one in keywords)] == []


def test_the_lexer_colours_every_keyword_and_loses_nothing() -> None:
    pytest.importorskip("pygments", reason="the lexer needs the extra `editor`")
    from plica.editor.pygments_lexer import KEYWORDS, PlicaLexer

    for word in words_in_the_grammar_file():
        kinds = [kind for kind, value in PlicaLexer().get_tokens(f"\n{word}\n") if value == word]
        assert kinds and kinds[0] in KEYWORDS, word


@pytest.mark.parametrize("path", sorted((ROOT / "specs").rglob("*.plica")), ids=lambda path: path.name)
def test_specs_are_coloured_without_errors(path: object) -> None:
    pytest.importorskip("pygments", reason="the lexer needs the extra `editor`")
    from pygments.token import Error

    from plica.editor.pygments_lexer import PlicaLexer

    text = path.read_text("utf-8")  # type: ignore[attr-defined]
    tokens = list(PlicaLexer(stripnl=False, ensurenl=False).get_tokens(text))
    assert "".join(value for _, value in tokens) == text
    assert Error not in {kind for kind, _ in tokens}


def test_the_extension_names_files_that_are_there() -> None:
    folder = ROOT / "grammar" / "editor_extension"
    manifest = json.loads((folder / "package.json").read_text("utf-8"))
    language, colours = manifest["contributes"]["languages"][0], manifest["contributes"]["grammars"][0]
    grammar_file = ROOT / "grammar" / colours["path"].removeprefix("./")  # which is copied in when it is set up
    assert json.loads(grammar_file.read_text("utf-8"))["scopeName"] == colours["scopeName"]
    assert language["extensions"] == [".plica"] and colours["language"] == language["id"]
    assert (folder / manifest["main"]).is_file()
    configuration = json.loads((folder / language["configuration"]).read_text("utf-8"))
    assert configuration["comments"]["lineComment"] == "//"
    command = manifest["contributes"]["configuration"]["properties"]["plica.command"]["default"]
    assert command == ["plica", "language-server"]
