"""The lexer against Lark's own contextual lexer, and what it does better."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from lark import Lark
from lark.exceptions import UnexpectedInput

from plica.syntax.builder import Builder
from plica.syntax.parser_tables import STARTS, LarkLexer, parser
from plica.syntax.tables import grammar_text
from tests.support.data import ROOT
from tests.support.examples import FILES

SPECS = sorted([*(ROOT / "specs").rglob("*.plica"), *FILES.rglob("*.plica")])


@pytest.fixture(scope="module")
def reference() -> Lark:
    """The same grammar with the contextual lexer that Lark brings (a general-purpose library's, lark 1.3)."""
    return Lark(
        grammar_text(),
        parser="lalr",
        lexer="contextual",
        start=list(STARTS),
        maybe_placeholders=True,
        keep_all_tokens=True,
        transformer=Builder(),
    )


@pytest.mark.parametrize("spec", SPECS, ids=lambda path: path.stem)
def test_good_files_give_the_same_tree(spec: Path, reference: Lark) -> None:
    text = spec.read_text("utf-8")
    assert parser().parse(text, start="file") == reference.parse(text, start="file")


def test_mutated_files_give_the_same_tree_or_are_refused_at_the_same_place(reference: Lark) -> None:
    """Letters are changed only beside blanks, because Lark's keywords end anywhere and ours only where a word does."""
    chance = random.Random(5)
    text = (ROOT / "specs" / "wren.plica").read_text("utf-8")
    words = sorted(set(text.split()))
    for _ in range(60):
        pieces = text.split(" ")
        for _ in range(3):
            pieces[chance.randrange(len(pieces))] = chance.choice(words)
        mutated = " ".join(pieces)
        outcomes = []
        for one in (parser(), reference):
            try:
                outcomes.append(one.parse(mutated, start="file"))
            except UnexpectedInput as error:
                outcomes.append(getattr(error, "pos_in_stream", None) or error.token.start_pos)  # type: ignore[attr-defined]
        assert outcomes[0] == outcomes[1]


def test_the_parser_really_uses_it() -> None:
    assert isinstance(parser().parser.lexer, LarkLexer)


@pytest.mark.parametrize(
    "text",
    [
        "plica 1 regions arm { skin of arm }",
        "plica 1 region arm { skinof arm }",
        "plica 1 driver a { reads bendof b }",
        "plica 1 driver a { reads offset y of b span 0 mm..1 mmunclamped }",
    ],
)
def test_keywords_are_whole_words(text: str) -> None:
    with pytest.raises(UnexpectedInput):
        parser().parse(text, start="file")


@pytest.mark.parametrize(
    "word", ["span", "both", "left", "x", "of", "reads", "linear", "plica", "each", "model", "über", "手"]
)
def test_words_of_the_language_can_be_names_where_a_name_is_wanted(word: str) -> None:
    run = parser().parse(f"plica 1 region {word} both {{ skin of arm }}", start="file")
    assert run.items[0].name.text == word  # type: ignore[attr-defined]


def test_numbers_keep_their_units_and_signs() -> None:
    run = parser().parse("plica 1 driver a { span -.5deg .. +1e2 rad }", start="file")
    low, high = run.items[0].facts[0].values  # type: ignore[attr-defined]
    assert (low.number, low.unit, high.number, high.unit) == (-0.5, "deg", 100.0, "rad")
